"""Axes: plain numbers, multipliers on a log scale, and pounds and ounces beside grams."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import count
from math import ceil, floor, log10
from typing import Final

from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullFormatter, NullLocator

from api.forms.charts.base import Axis, Tick
from api.forms.drawing.style import SMALL_PT
from api.forms.plain import plain
from clubdata.rules.units import OUNCES_IN_A_POUND, exact_grams_from_pounds

#: Grams of each unit that gets pounds and ounces beside it, and what follows 'lb' there.
WEIGHTS: Final = {
    "g": (1.0, ""),
    "kg": (1000.0, ""),
    "g/h": (1.0, " per hour"),
    "kg/h": (1000.0, " per hour"),
}
_GRAMS_IN_AN_OUNCE: Final = float(exact_grams_from_pounds(0, 1))
#: Steps of the second scale, in ounces.
_STEPS_OZ: Final = (1, 2, 4, 8, 16, 32, 48, 80, 160, 320, 800, 1600, 3200)
_MOST_STEPS: Final = 6
#: From a thousand pounds on the words are long: fewer of them.
_MANY_OZ: Final = 1000 * OUNCES_IN_A_POUND
_FEW_STEPS: Final = 4
_NEAR: Final = (0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 7, 10)


def amount(value: float) -> str:
    """A number as an axis shows it: thousands apart, no needless zeros."""
    if abs(value) >= 1000:
        return f"{value:,.0f}"
    return f"{value:.3g}".replace("-", "−")


def number(axes: Axes, which: str, axis: Axis, *, most: int = 8) -> None:
    """Title, unit and plain numbers for an axis, `x` or `y`."""
    scale = axes.xaxis if which == "x" else axes.yaxis
    scale.set_label_text(axis.label)
    scale.set_major_locator(MaxNLocator(nbins=most, steps=[1, 2, 5, 10], min_n_ticks=3))
    scale.set_major_formatter(FuncFormatter(lambda value, _place: amount(value)))


def named(axes: Axes, ticks: Sequence[Tick], *, across_px: float) -> None:
    """Words on the horizontal axis; each second or third only where they would touch."""
    longest = max((len(tick.label) for tick in ticks), default=1)
    least_px = longest * SMALL_PT * 0.95 + 4
    every = max(1, ceil(len(ticks) * least_px / across_px))
    shown = ticks[::every]
    axes.set_xticks([tick.x for tick in shown], [plain(tick.label) for tick in shown])


def multipliers(axes: Axes, which: str, title: str, values: Iterable[float]) -> None:
    """A log scale of multipliers, as wide as the values and with 1 on it."""
    low, high = _reach([value for value in values if value > 0])
    scale = axes.xaxis if which == "x" else axes.yaxis
    (axes.set_xscale if which == "x" else axes.set_yscale)("log")
    (axes.set_xlim if which == "x" else axes.set_ylim)(low, high)
    scale.set_major_locator(FixedLocator(_round_multipliers(low, high)))
    scale.set_major_formatter(FuncFormatter(lambda value, _place: f"×{value:g}"))
    scale.set_minor_locator(NullLocator())
    scale.set_minor_formatter(NullFormatter())
    scale.set_label_text(title)


def pounds_and_ounces(axes: Axes, which: str, axis: Axis) -> None:
    """A second scale on the far side for a weight; nothing for another unit."""
    if axis.unit not in WEIGHTS:
        return
    grams, after = WEIGHTS[axis.unit]
    per_ounce = _GRAMS_IN_AN_OUNCE / grams
    functions = (lambda value: value / per_ounce, lambda ounces: ounces * per_ounce)
    second = (
        axes.secondary_xaxis("top", functions=functions)
        if which == "x"
        else axes.secondary_yaxis("right", functions=functions)
    )
    low, high = sorted(axes.get_xlim() if which == "x" else axes.get_ylim())
    scale = second.xaxis if which == "x" else second.yaxis
    scale.set_major_locator(FixedLocator(_ounces(low / per_ounce, high / per_ounce)))
    scale.set_major_formatter(FuncFormatter(lambda ounces, _place: pounds_text(ounces)))
    scale.set_minor_locator(NullLocator())
    scale.set_label_text(f"lb and oz{after}")


def pounds_text(ounces: float) -> str:
    """Whole ounces as '8 oz', '2 lb' or '1 lb 8 oz'."""
    pounds, rest = divmod(round(ounces), OUNCES_IN_A_POUND)
    if not pounds:
        return f"{rest} oz" if rest else "0"
    return f"{pounds} lb {rest} oz" if rest else f"{pounds:,} lb"


def _ounces(low: float, high: float) -> list[float]:
    most = _MOST_STEPS if high < _MANY_OZ else _FEW_STEPS
    step = next(step for step in _steps_oz() if (high - low) / step <= most)
    return [step * place for place in range(ceil(low / step), floor(high / step) + 1)]


def _steps_oz() -> Iterator[int]:
    """Ounces between marks, ever larger: beyond those of a session 5, 10 and 20 hundred pounds, and so on."""
    yield from _STEPS_OZ
    for power in count(2):
        yield from (digit * 10**power * OUNCES_IN_A_POUND for digit in (5, 10, 20))


def _reach(values: Sequence[float]) -> tuple[float, float]:
    low, high = min([*values, 0.8]), max([*values, 1.25])
    return low / 1.06, high * 1.06


def _round_multipliers(low: float, high: float) -> list[float]:
    """At most seven round multipliers within the reach, 1 always among them."""
    candidates = [value for value in _NEAR if low <= value <= high]
    if high / low > 60:
        powers = range(floor(log10(low)), ceil(log10(high)) + 1)
        candidates = [10.0**power for power in powers if low <= 10.0**power <= high]
    spread = 1.12
    while True:
        kept = _apart(candidates, spread)
        if len(kept) <= 7:
            return kept
        spread *= 1.1


def _apart(candidates: Sequence[float], ratio: float) -> list[float]:
    """Those at least a ratio from the ones kept, beginning from 1 to either side."""
    kept = [1.0]
    for value in [one for one in candidates if one > 1]:
        if value / kept[-1] >= ratio:
            kept.append(value)
    below = [1.0]
    for value in [one for one in reversed(candidates) if one < 1]:
        if below[-1] / value >= ratio:
            below.append(value)
    return [*reversed(below[1:]), *kept]
