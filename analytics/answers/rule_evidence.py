"""Whether the club's own returns bear out a rule of the trade, with numbers.

One method for all: the ratio of two rates (weight a fish, grams a rod-hour, float weight a session) on the
two sides of the rule, compared only within alike strata and pooled after Mantel and Haenszel, in the form for
rates (Greenland and Robins 1985, Biometrics 41:55; Rothman, Greenland and Lash 2008, Modern Epidemiology, ch.
15: quoted from memory). Its interval comes from drawing whole anglers anew: one angler's sessions are alike.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from django.db.models import Count, F, OuterRef, Subquery, Sum
from numpy.typing import NDArray

from analytics.observed.privacy import LEAST_ANGLERS
from clubdata.models import CatchLine, Club, Outcome, SessionPart
from clubdata.rules.season import Season, season_of
from clubdata.rules.situation import class_of
from clubdata.services.doubts import doubted_returns

#: On each side.
LEAST_RETURNS: Final = 30
DRAWS: Final = 2000
_SEED: Final = 20_240
#: Beaufort: windy from here, calm up to here.
_WINDY, _CALM = 4, 2
LONG_M, SHORT_M = 11.0, (5.0, 8.0)
_KNOWN: Final = frozenset({Outcome.WEIGHED, Outcome.BLANK})

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sight:
    """One session on one side of a rule: whose, in which stratum, how much over how much."""

    angler: int
    stratum: tuple[Any, ...]
    is_first: bool
    amount: float
    over: float


@dataclass(frozen=True, slots=True)
class Side:
    """How many returns of how many anglers stand on a side; fewer than five anglers are not counted out."""

    name: str
    returns: int
    anglers: int | None


@dataclass(frozen=True, slots=True)
class RuleEvidence:
    """What the returns say of one rule: `ratio` is the first side's rate over the second's, with 90 %."""

    rule: str
    question: str
    verdict: str
    sentence: str
    ratio: float | None
    lower_90: float | None
    upper_90: float | None
    sides: tuple[Side, Side]
    method: str


@dataclass(frozen=True, slots=True)
class EvidenceOfRules:
    """The rules that returns can speak to."""

    rules: tuple[RuleEvidence, ...]
    caution: str = (
        "An association among sessions as they were fished, alike in what the method names and in nothing "
        "else: who fishes which way, and on which day, was their own choice."
    )


def evidence_of(*, club: Club) -> EvidenceOfRules:
    """What the club's returns say of the rules that they can speak to; one query."""
    sessions = _sessions(club)
    return EvidenceOfRules(
        (
            _judged(
                "float-heavier-in-wind",
                "Do heavier floats go with wind?",
                (f"wind of force {_WINDY} and more", f"wind of force {_CALM} and less"),
                "the floats were {times} as heavy",
                "Mean float weight, within classes of depth (to 1.5 m, to 2.5 m, deeper).",
                _floats(sessions),
            ),
            _judged(
                "corn-for-bigger-fish",
                "Does corn give bigger fish than maggot here?",
                ("sweetcorn throughout", "maggot throughout"),
                "the mean fish was {times} as heavy",
                "Weight a fish, of sessions weighed and counted on one bait, within water and season.",
                _fish(sessions),
            ),
            _judged(
                "long-line-beyond-the-bank",
                "Does the long line beat the short one in winter?",
                (f"{LONG_M:g} m and more", f"{SHORT_M[0]:g} to {SHORT_M[1]:g} m"),
                "{times} as much was caught a rod-hour",
                "Grams a rod-hour from December to February, blanks counted in, within water and peg.",
                _winter(sessions),
            ),
        )
    )


def rate_ratio(sights: Sequence[Sight]) -> tuple[float, float, float] | None:
    """The pooled ratio and the ends of its 90 % interval; None where no stratum has both sides.

    Per stratum, A over B on the first side and C over D on the second: Σ A·D/(B+D) divided by Σ C·B/(B+D).
    """
    anglers = {angler: place for place, angler in enumerate(sorted({one.angler for one in sights}))}
    strata = {
        stratum: place for place, stratum in enumerate(sorted({one.stratum for one in sights}, key=str))
    }
    sums = np.zeros((len(anglers), len(strata), 2, 2))
    for one in sights:
        cell = sums[anglers[one.angler], strata[one.stratum], int(not one.is_first)]
        cell += (one.amount, one.over)
    found = _pooled(sums.sum(axis=0)[None])[0]
    if not np.isfinite(found):
        return None
    rng = np.random.default_rng(_SEED)
    drawn = rng.multinomial(len(anglers), np.full(len(anglers), 1 / len(anglers)), size=DRAWS)
    ratios = _pooled(np.einsum("da,asij->dsij", drawn.astype(float), sums))
    ratios = ratios[np.isfinite(ratios)]
    lower, upper = np.quantile(ratios, (0.05, 0.95))
    return float(found), float(lower), float(upper)


def _pooled(sums: Floats) -> Floats:
    """Of (draws, strata, side, [amount, over]): a ratio a draw."""
    (amount, over), (other, other_over) = (
        (sums[:, :, 0, 0], sums[:, :, 0, 1]),
        (sums[:, :, 1, 0], sums[:, :, 1, 1]),
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = over + other_over
        share = np.where(whole > 0, 1 / whole, 0.0)
        pooled: Floats = (amount * other_over * share).sum(axis=1) / (other * over * share).sum(axis=1)
    return pooled


def _judged(  # noqa: PLR0917 - one row of a table
    rule: str, question: str, names: tuple[str, str], words: str, method: str, sights: list[Sight]
) -> RuleEvidence:
    sides = (_side(names[0], sights, is_first=True), _side(names[1], sights, is_first=False))
    found = rate_ratio(sights) if all(_is_enough(side) for side in sides) else None
    if found is None:
        needed = f"It takes {LEAST_RETURNS} returns of {LEAST_ANGLERS} anglers on each side, alike in place."
        return RuleEvidence(rule, question, "too few returns", needed, None, None, None, sides, method)
    ratio, lower, upper = found
    verdict = "borne out" if lower > 1 else "not borne out" if upper < 1 else "undecided"
    said = words.format(times=f"{ratio:.2f} times")
    sentence = (
        f"With {names[0]} {said} as with {names[1]} (90 % interval {lower:.2f} to {upper:.2f}; "
        f"{sides[0].returns} and {sides[1].returns} returns)."
    )
    return RuleEvidence(rule, question, verdict, sentence, ratio, lower, upper, sides, method)


def _side(name: str, sights: Iterable[Sight], *, is_first: bool) -> Side:
    there = [one for one in sights if one.is_first == is_first]
    anglers = len({one.angler for one in there})
    return Side(name, len(there), anglers if anglers >= LEAST_ANGLERS else None)


def _is_enough(side: Side) -> bool:
    return side.returns >= LEAST_RETURNS and side.anglers is not None


# --- From returns to sights ----------------------------------------------------------------------------

_COLUMNS: Final = (
    "session_id", "session__member_id", "session__water_id", "session__peg_id", "session__fished_on",
    "session__outcome", "session__weight_g", "session__fish_count", "session__hours", "session__rods",
    "session__conditions__wind_force", "session__peg__depth_cm",
    "hook_bait__name", "distance_m", "float_g", "depth_cm", "caught",
)  # fmt: skip


def _sessions(club: Club) -> list[list[dict[str, Any]]]:
    """The parts of each session that may be used, by session; a guest's are of nobody that the club knows."""
    parts = SessionPart.objects.filter(club=club, session__removed_at__isnull=True, session__guest=False)
    lines = CatchLine.objects.filter(session=OuterRef("session")).order_by().values("session")
    parts = parts.exclude(session__in=doubted_returns(club.pk)).annotate(
        # Where a line does not say how many, their sum is not known.
        caught=Subquery(
            lines.annotate(told=Count("fish_count"), lines=Count("pk"), fish=Sum("fish_count"))
            .filter(told=F("lines"))
            .values("fish")
        )
    )
    parts = parts.order_by("session_id", "part_order")
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in parts.values(*_COLUMNS).iterator(chunk_size=2000):
        found[row["session_id"]].append(row)
    return list(found.values())


def _floats(sessions: list[list[dict[str, Any]]]) -> list[Sight]:
    found = []
    for first, *_ in sessions:
        wind, depth_cm = first["session__conditions__wind_force"], first["depth_cm"]
        depth_cm = depth_cm or first["session__peg__depth_cm"]
        if first["float_g"] is None or wind is None or depth_cm is None or _CALM < wind < _WINDY:
            continue
        stratum = (sum(depth_cm > limit for limit in (150, 250)),)
        is_windy = wind >= _WINDY
        found.append(Sight(first["session__member_id"], stratum, is_windy, float(first["float_g"]), 1.0))
    return found


def _fish(sessions: list[list[dict[str, Any]]]) -> list[Sight]:
    found = []
    for parts in sessions:
        first = parts[0]
        kinds = {class_of(part["hook_bait__name"] or "") for part in parts}
        count, weight_g = first["session__fish_count"] or first["caught"], first["session__weight_g"]
        if first["session__outcome"] != Outcome.WEIGHED or not count or kinds not in ({"corn"}, {"maggot"}):
            continue
        stratum = (first["session__water_id"], season_of(first["session__fished_on"].month).value)
        found.append(
            Sight(first["session__member_id"], stratum, kinds == {"corn"}, float(weight_g), float(count))
        )
    return found


def _winter(sessions: list[list[dict[str, Any]]]) -> list[Sight]:
    found = []
    for parts in sessions:
        first = parts[0]
        if season_of(first["session__fished_on"].month) is not Season.WINTER:
            continue
        distances = [part["distance_m"] for part in parts]
        if first["session__outcome"] not in _KNOWN or None in distances or first["session__hours"] is None:
            continue
        is_long = all(distance >= LONG_M for distance in distances)
        if not is_long and not all(SHORT_M[0] <= distance <= SHORT_M[1] for distance in distances):
            continue
        effort = float(first["session__hours"]) * first["session__rods"]
        stratum = (first["session__water_id"], first["session__peg_id"])
        weight_g = float(first["session__weight_g"] or 0)
        found.append(Sight(first["session__member_id"], stratum, is_long, weight_g, effort))
    return found
