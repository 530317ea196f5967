"""A pole rig as tied: shot on the line, what they weigh beside the float's load, and how the rig settles.

Positions are centimetres above the hook, along the line. Patterns are common practice, no source; each
carries the range in which it is usual (`clubdata.rules.trade`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Final

from clubdata.errors import InvalidInput
from clubdata.rules.tackle import CM_IN_AN_INCH, SPLIT_SHOT_G, shot_g

#: Spacings of a tapered pattern above its first shot, in inches; the last repeats.
_TAPER_IN: Final = (3.0, 1.0)
#: Shot as close as this are a bulk.
_TOGETHER_CM: Final = 1.0
#: Bristle and body stand off this much of the load before a trimming shot is looked for.
_DOTTED_G: Final = 0.005
MOST_SHOT: Final = 60


@dataclass(frozen=True, slots=True, order=True)
class Shot:
    """One split shot: how far above the hook, and its size."""

    above_hook_cm: float
    size: str

    @property
    def weight_g(self) -> float:
        return shot_g(self.size)


@dataclass(frozen=True, slots=True)
class Rig:
    """A rig for a depth: hooklength, shot from the hook upwards, trimming shot under the float, back shot.

    `load_g` is what the float carries to its bristle. Shot may be given in any order.
    """

    depth_cm: float
    hooklength_cm: float
    load_g: float
    shot: tuple[Shot, ...]
    trimming: tuple[str, ...] = ()
    back_shot: tuple[Shot, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "shot", tuple(sorted(self.shot)))
        for one in self.shot:
            if not 0 < one.above_hook_cm <= self.depth_cm:
                raise InvalidInput(
                    "A shot lies between hook and float.", field="shot", code="shot_off_the_line"
                )

    @property
    def shot_total_g(self) -> float:
        """The pattern's weight, without the trimming shot."""
        return total_g(one.size for one in self.shot)

    @property
    def left_g(self) -> float:
        """What the float still carries beside pattern and trimming shot; less than nought sinks it."""
        return self.load_g - self.shot_total_g - total_g(self.trimming)


def total_g(sizes: Iterable[str]) -> float:
    """What shot of these sizes weigh together."""
    return round(sum(shot_g(size) for size in sizes), 6)


def tapered(*, hooklength_cm: float, load_g: float, depth_cm: float, size: str = "9") -> tuple[Shot, ...]:
    """Shot of one size that close up towards the float: at the loop, a hooklength on, 3 in, then each inch.

    As many as the float carries without a trimming shot. Raises `InvalidInput` where the line is too short.
    """
    count = _carried(load_g, size)
    positions = [hooklength_cm, 2 * hooklength_cm]
    while len(positions) < count:
        place = len(positions) - 2
        positions.append(positions[-1] + _TAPER_IN[min(place, len(_TAPER_IN) - 1)] * CM_IN_AN_INCH)
    return _on_the_line((Shot(round(at, 2), size) for at in positions[:count]), depth_cm)


def bulk_with_droppers(
    *, hooklength_cm: float, load_g: float, depth_cm: float, size: str = "9", droppers: int = 2
) -> tuple[Shot, ...]:
    """The same weight in a bulk where a tapered pattern's shot end, its first ones left as droppers."""
    string = tapered(hooklength_cm=hooklength_cm, load_g=load_g, depth_cm=depth_cm, size=size)
    below, above = string[:droppers], string[droppers:]
    if not above:
        return string
    at = above[-1].above_hook_cm
    return _on_the_line((*below, *(Shot(at, size) for _ in above)), depth_cm)


def trimming_for(rig: Rig) -> tuple[str, ...]:
    """Small shot under the float that bring it down to its bristle, the heaviest first."""
    left, found = rig.left_g, []
    for size, weight_g in SPLIT_SHOT_G.items():
        while weight_g <= left + 1e-9 and weight_g <= SPLIT_SHOT_G["8"]:
            found.append(size)
            left -= weight_g
            if len(found) > MOST_SHOT:
                raise InvalidInput("The float carries far more.", field="load_g", code="load_out_of_range")
    return tuple(found) if rig.left_g > _DOTTED_G else ()


@dataclass(frozen=True, slots=True)
class Stage:
    """Shot that settle together on the way down: where, and with how much of the weight."""

    above_hook_cm: float
    sizes: tuple[str, ...]
    share: float


def settling(rig: Rig) -> tuple[Stage, ...]:
    """The order in which a rig laid in straight settles: from the float down, what lies together at once.

    A sketch, not a flow calculation: many stages of a like share fall evenly through the water, one of nearly
    all the weight goes straight down and leaves the droppers to follow.
    """
    placed = sorted(rig.shot, reverse=True)
    groups: list[list[Shot]] = []
    for one in placed:
        if groups and groups[-1][-1].above_hook_cm - one.above_hook_cm <= _TOGETHER_CM:
            groups[-1].append(one)
        else:
            groups.append([one])
    whole = rig.shot_total_g
    return tuple(
        Stage(
            above_hook_cm=group[0].above_hook_cm,
            sizes=tuple(one.size for one in group),
            share=total_g(one.size for one in group) / whole,
        )
        for group in groups
    )


def falls_evenly(rig: Rig) -> bool:
    """Whether no stage has half of the weight."""
    return all(stage.share < 0.5 for stage in settling(rig))


def closes_up(shot: tuple[Shot, ...]) -> bool:
    """Whether shot lie no further apart towards the float than towards the hook."""
    gaps = [later.above_hook_cm - earlier.above_hook_cm for earlier, later in pairwise(sorted(shot))]
    return all(upper <= lower + 1e-9 for lower, upper in pairwise(gaps))


def as_written(shot: tuple[Shot, ...]) -> str:
    """As anglers write a pattern, from the hook up: 'No 9 at 10.2 cm, 2 × No 8 at 30 cm'."""
    told = []
    for (at, size), group in groupby(sorted(shot), key=lambda one: (one.above_hook_cm, one.size)):
        number = len(list(group))
        many = f"{number} × " if number > 1 else ""
        name = size if size.isalpha() else f"No {size}"
        told.append(f"{many}{name} at {round(at, 1):g} cm")
    return ", ".join(told)


def _carried(load_g: float, size: str) -> int:
    count = int(load_g / shot_g(size) + 1e-9)
    if not 1 <= count <= MOST_SHOT:
        raise InvalidInput(
            "Of this size the float carries none, or too many.", field="load_g", code="load_out_of_range"
        )
    return count


def _on_the_line(shot: Iterable[Shot], depth_cm: float) -> tuple[Shot, ...]:
    placed = tuple(sorted(shot))
    if placed[-1].above_hook_cm > depth_cm:
        raise InvalidInput(
            "The pattern is longer than the water is deep.", field="depth_cm", code="pattern_too_long"
        )
    return placed
