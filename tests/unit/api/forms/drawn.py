"""One chart of each kind, of invented numbers, as full as it gets."""

from math import cos, exp, pi

from api.forms.charts.bank_intervals import BankIntervals, BankPeg
from api.forms.charts.bars import Bar, Bars
from api.forms.charts.base import Axis, BandLine, BandPoint, Chart, Mark, RawPoint, Spread, Tick
from api.forms.charts.calibration import Calibration, Coverage, MeanPair
from api.forms.charts.curves import Curves
from api.forms.charts.heat_map import Cell, HeatMap
from api.forms.charts.season_band import SeasonBand

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
REFERENCE = "For the typical peg of Heron Mere, an average angler of the club, casters, pole at 11 m, wind 2."


def around(value: float, sd: float = 0.2) -> Spread:
    ends = (exp(0.674 * sd), exp(1.645 * sd))
    return Spread(value, value / ends[0], value * ends[0], value / ends[1], value * ends[1])


def bank(pegs: int = 24) -> Chart:
    def peg(place: int) -> BankPeg:
        value = exp(0.5 * cos(place / 3) - 0.05 * (place % 5))
        hazard = "overhead power line" if place == 4 else ""
        label = "12A" if place == 12 else str(place + 1)
        side = "north bank" if place < pegs * 0.6 else "island"
        spread = None if hazard else around(value, 0.12 + 0.05 * (place % 4))
        return BankPeg(label, side, spread, 7 + 13 * (place % 6), hazard, value * 1.3)

    return BankIntervals(
        title="Peg form of Heron Mere, along the bank",
        subtitle=REFERENCE,
        caption="A multiplier of 1 is this water's typical peg. Neighbours share strength.",
        returns=1204,
        pegs=tuple(peg(place) for place in range(pegs)),
    )


def season() -> Chart:
    points = tuple(
        BandPoint(month, around(900 - 700 * cos(pi * month / 6), 0.15), 30 * month) for month in range(1, 13)
    )
    raw = tuple(
        RawPoint(point.x, point.spread.estimate * (0.8 + point.x / 20), int(12 * point.x)) for point in points
    )
    return SeasonBand(
        title="Catch rate by month of the year",
        subtitle=REFERENCE,
        caption="A catch rate is not the size of the stock.",
        returns=2310,
        x=Axis("Month"),
        y=Axis("Catch rate", "g/h"),
        lines=(BandLine("standardised", points),),
        raw=raw,
        ticks=tuple(Tick(place, name) for place, name in enumerate(MONTHS, 1)),
    )


def years() -> Chart:
    def line(name: str, factor: float) -> BandLine:
        return BandLine(
            name,
            tuple(BandPoint(year, around(factor * (1 + 0.1 * cos(year)), 0.1)) for year in range(2015, 2025)),
        )

    return SeasonBand(
        title="Index of the catch rate by year, all returns and matches only",
        subtitle=REFERENCE,
        returns=9120,
        x=Axis("Year"),
        y=Axis("Index, 1 is the mean of all years"),
        lines=(line("all returns", 1.0), line("matches only", 0.85)),
        marks=(
            Mark(2017.3, "stocking, April 2017"),
            Mark(2017.5, "works, June 2017"),
            Mark(2021.8, "fish kill, October 2021"),
        ),
        ticks=tuple(Tick(year, str(year)) for year in range(2015, 2025)),
        level=1.0,
    )


def temperature() -> Chart:
    points = tuple(BandPoint(c / 2, around(300 + 80 * c / 2, 0.1 + abs(c - 25) / 100)) for c in range(4, 50))
    return SeasonBand(
        title="Catch rate by water temperature",
        returns=812,
        x=Axis("Water temperature", "°C"),
        y=Axis("Catch rate", "g/h"),
        lines=(BandLine("standardised", points),),
    )


def heat() -> Chart:
    baits = ("maggot, red", "caster", "worm, chopped", "pellet, 4 mm", "sweetcorn", "bread punch", "hemp")
    cells = tuple(
        Cell(
            row,
            column,
            400 + 300 * row - 350 * cos(pi * (column + row) / 6),
            3 + 5 * ((row * 7 + column * 3) % 9),
            (row * 5 + column) % 9 == 0,
        )
        for row in range(len(baits))
        for column in range(12)
        if (row, column) != (6, 11)
    )
    return HeatMap(
        title="Hook bait by month",
        subtitle=REFERENCE,
        caption="Expected catch rate of each bait in each month.",
        returns=3307,
        x=Axis("Month"),
        y=Axis("Hook bait"),
        value=Axis("Catch rate", "g/h"),
        columns=MONTHS,
        rows=baits,
        cells=cells,
    )


def distance() -> Chart:
    def line(name: str, best: float) -> BandLine:
        points = (BandPoint(m, around(400 + 900 * exp(-((m - best) ** 2) / 18), 0.1)) for m in range(3, 17))
        return BandLine(name, tuple(points))

    return Curves(
        title="Distance through the season",
        subtitle=REFERENCE,
        returns=1990,
        x=Axis("Distance from the bank", "m"),
        y=Axis("Catch rate", "g/h"),
        lines=(line("winter", 13), line("spring", 11), line("summer", 6), line("autumn", 9)),
    )


def calibration() -> Chart:
    return Calibration(
        title="Do the intervals hold what they promise?",
        caption="Later sessions, which the fit had not seen, scored month by month.",
        returns=640,
        coverage=tuple(
            Coverage(share / 10, round(640 * (share / 10 + 0.02)), 640) for share in (5, 6, 7, 8, 9)
        ),
        means=tuple(MeanPair(500 * k, 520 * k - 30 * (k % 3), 10 + 20 * k) for k in range(1, 9)),
    )


def bars() -> Chart:
    return Bars(
        title="Species by weight",
        caption="Of returns that tell their species.",
        returns=744,
        value=Axis("Share of the weight", "%"),
        bars=(
            Bar("roach", 41.2, 301),
            Bar("common bream and hybrids of roach and bream", 30.9, 120),
            Bar("perch", 8.0, 77),
            Bar("tench", 0.43, 3),
        ),
    )


def baits() -> Chart:
    return Bars(
        title="What each bait is expected to make in five hours",
        subtitle=REFERENCE,
        returns=744,
        value=Axis("Weight in 5 hours", "g"),
        bars=tuple(
            Bar(name, 4000 - 700 * k, 90 - 12 * k, around(4000 - 700 * k), 5000 - 600 * k)
            for k, name in enumerate(("caster", "maggot, red", "worm", "hemp"))
        ),
    )


ALL = {
    "bank": bank,
    "season": season,
    "years": years,
    "temperature": temperature,
    "heat": heat,
    "distance": distance,
    "calibration": calibration,
    "bars": bars,
    "baits": baits,
}
