"""A peg's record beside its form: counts, raw rate and why it differs from the fit's, and the trend."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from analytics.answers.footing import Footing
from analytics.answers.peg_figures import (
    LEAST_ANGLERS,
    OverExpected,
    PegFigures,
    Row,
    WaterFigures,
    WhyTheyDiffer,
    open_pegs,
    over_expected,
    read_figures,
    reference_rows,
    why_they_differ,
)
from analytics.answers.peg_trend import PegTrend, trends
from analytics.answers.peg_wording import why_words
from analytics.observed.columns import ALL_YEAR

WITHHELD = f"Figures of fewer than {LEAST_ANGLERS} anglers are kept back, and what would give them away."
NOTHING_THEN = "No return of known weight from here in this part of the year."
NOT_COUNTED = "The fit knows no return of known weight from here."


@dataclass(frozen=True, slots=True)
class PegRecord:
    """What is known of a peg as it stands; None where it is kept back or there is nothing, as `why_not` says.

    Counts are of returns of known weight. `own_share` is the share of what the peg's own returns say in its
    effect, were it judged by them and by pegs in general alone. `last_fished` is an ISO date, for members
    without an officer's role only its month.
    """

    returns: int | None = None
    blanks: int | None = None
    matches: int | None = None
    pleasure: int | None = None
    anglers: int | None = None
    raw_g_per_hour: float | None = None
    why: WhyTheyDiffer | None = None
    why_in_words: str | None = None
    over_expected: OverExpected | None = None
    own_share: float | None = None
    trend: PegTrend | None = None
    last_drawn_on: str | None = None
    last_fished: str | None = None
    why_not: str = ""

    @property
    def raw_ratio(self) -> float | None:
        """The raw rate over the water's."""
        return None if self.why is None else self.why.raw_ratio


@dataclass(frozen=True, slots=True, eq=False)
class RecordReader:
    """Reads the stored figures of a water's pegs as far as the asker may."""

    figures: Mapping[str, PegFigures]
    period: str
    opened: frozenset[str]
    opened_all_year: frozenset[str]
    sees_all: bool
    reference: Mapping[str, Row]
    power: float
    peg_sd: float

    @classmethod
    def of(cls, footing: Footing, period: str, *, sees_all: bool) -> Self:
        """For a footing that has a fit."""
        assert footing.stored is not None  # noqa: S101 - the caller has looked
        estimates = footing.stored.estimates
        figures = read_figures(footing.stored.observed, [here.peg.uid.hex for here in footing.place.pegs])
        opened = open_pegs(figures, period)
        compared = {peg.uid.hex: figures[peg.uid.hex] for peg in footing.pegs if peg.uid.hex in figures}
        item = estimates.term("peg")
        assert item is not None  # noqa: S101 - the footing has effects of pegs
        return cls(
            figures=compared,
            period=period,
            opened=opened,
            opened_all_year=open_pegs(figures, ALL_YEAR),
            sees_all=sees_all,
            reference=reference_rows(compared, period, frozenset(compared) if sees_all else opened),
            power=estimates.power,
            peg_sd=item.prior_sd,
        )

    @property
    def rate_g_per_hour(self) -> float | None:
        """The water's raw rate in the period, of the pegs that raw ratios are against; None of none."""
        if not self.reference or not self._may_read_rate():
            return None
        weight, hours = (sum(row[name] for row in self.reference.values()) for name in ("weight_g", "hours"))
        return weight / hours

    @property
    def of_few(self) -> int | None:
        """Of how many pegs the reference rate is, where the asker may not read all; else None."""
        if self.sees_all or not self._may_read_rate() or len(self.reference) == len(self.figures):
            return None
        return len(self.reference)

    @property
    def returns(self) -> int:
        """How many returns stand behind the reference rate."""
        if not self._may_read_rate():
            return 0
        return int(sum(row["returns"] for row in self.reference.values()))

    def records(self, log_multipliers: Mapping[str, float]) -> dict[str, PegRecord]:
        """By peg, of all that are compared."""
        open_years = {
            peg: item.years
            for peg, item in self.figures.items()
            if item.years and (self.sees_all or (peg in self.opened_all_year and item.years_shown()))
        }
        found = trends(open_years, self.power)
        rows = {peg: item.periods[self.period] for peg, item in self.figures.items() if self._open(peg, item)}
        ratios = dict(zip(rows, over_expected(list(rows.values()), self.power), strict=True))
        whys = self._whys(rows, log_multipliers)
        return {
            peg: self._record(peg, whys.get(peg), ratios.get(peg), found.get(peg)) for peg in log_multipliers
        }

    def _whys(
        self, rows: Mapping[str, Row], log_multipliers: Mapping[str, float]
    ) -> dict[str, WhyTheyDiffer]:
        if not rows:
            return {}
        water = WaterFigures.of(self.reference, log_multipliers)
        return {peg: why_they_differ(row, log_multipliers[peg], water) for peg, row in rows.items()}

    def _record(
        self,
        peg: str,
        why: WhyTheyDiffer | None,
        ratio: OverExpected | None,
        trend: PegTrend | None,
    ) -> PegRecord:
        item = self.figures.get(peg)
        if item is None:
            return PegRecord(why_not=NOT_COUNTED)
        days = (item.last_drawn_on, self._last_fished(peg, item))
        if why is None or ratio is None:
            return PegRecord(
                trend=trend, last_drawn_on=days[0], last_fished=days[1], why_not=self._why_not(peg, item)
            )
        row = item.periods[self.period]
        return PegRecord(
            returns=int(row["returns"]),
            blanks=int(row["blanks"]),
            matches=int(row["matches"]),
            pleasure=int(row["returns"] - row["matches"]),
            anglers=int(row["anglers"]),
            raw_g_per_hour=row["weight_g"] / row["hours"],
            why=why,
            why_in_words=why_words(why),
            over_expected=ratio,
            own_share=self._own_share(item),
            trend=trend,
            last_drawn_on=days[0],
            last_fished=days[1],
        )

    def _open(self, peg: str, item: PegFigures) -> bool:
        return self.period in item.periods and (self.sees_all or peg in self.opened)

    def _may_read_rate(self) -> bool:
        """The rate is of open pegs; where there is none, of all of them."""
        return self.sees_all or not self.opened.isdisjoint(self.figures)

    def _why_not(self, peg: str, item: PegFigures) -> str:
        nothing = self.period not in item.periods
        may_know = self.sees_all or (peg in self.opened_all_year and item.shown(self.period))
        return NOTHING_THEN if nothing and may_know else WITHHELD

    def _last_fished(self, peg: str, item: PegFigures) -> str | None:
        """A day tells where a member was; a month of a peg that few fish does too."""
        if self.sees_all or item.last_fished_on is None:
            return item.last_fished_on
        return item.last_fished_on[:7] if peg in self.opened_all_year else None

    def _own_share(self, item: PegFigures) -> float | None:
        """I / (I + 1 / sd^2): what the ridge alone leaves of the peg's own figure."""
        if ALL_YEAR not in item.periods:
            return None
        held = item.periods[ALL_YEAR]["information"] * self.peg_sd**2
        return held / (1.0 + held)
