"""What the catch model is made of: frozen choices, made before any data are seen.

A term is a factor (levels), a line (one number) or a smooth (penalised B-splines of one or two
features). A factor's levels have a Gaussian prior whose variance is estimated from the returns, unless
`prior_sd` fixes it. Standard deviations are on the natural-log scale of expected weight: .35 means that
about two pegs in three lie within exp(±.35), that is within -30 % and +42 %, of the typical peg.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

#: Sparse effects that the data determine; the prior only keeps an empty or all-blank level finite.
WIDE_SD = 2.0

#: Names by which a factor's reference level can be learned from the data; the latest is the last with
#: returns enough to be compared with.
LATEST = "latest"
MOST_COMMON = "most common"

#: The level that stands for a cell that was left empty.
UNKNOWN = "unknown"
RECORDED = "recorded"
MISSING = "missing"

MATCH = "match"
PLEASURE = "pleasure"

#: Words for the multipliers that an answer shows.
LABELS = {
    "water": "water",
    "peg": "peg",
    "angler": "angler",
    "season": "season",
    "hook_bait": "hook bait",
    "hook_bait_month": "hook bait in this month",
    "distance": "distance",
    "season_distance": "distance in this season",
    "rig_type": "rig type",
    "session_kind": "session kind",
    "wind": "wind",
    "water_temperature": "water temperature",
    "year": "year",
    "water_year": "water in this year",
    "match_day": "match day",
    "averaging": "averaging over match days and anglers",
}


class Neighbours(StrEnum):
    """Which levels of a factor are next to one another and so share strength."""

    BANK = "along the bank"
    MONTHS = "around the year"


class DidNotWeigh(StrEnum):
    """What a weight that nobody knows is taken for."""

    LEFT_OUT = "left out"
    AS_ZERO = "as zero"
    CENSORED = "between zero and a bound"


@dataclass(frozen=True, slots=True)
class Factor:
    """One coefficient a level, each with prior N(0, variance): a random effect.

    The variance is estimated; `prior_sd` fixes it instead (WIDE_SD: in effect a fixed effect; infinite: a
    flat prior). `reference` names the level whose effect is zero: a level, LATEST or MOST_COMMON; None
    gives every level its own effect. `neighbours` adds a penalty on differences between levels that lie
    next to one another. A `nuisance` factor is needed to fit but never to predict: it is averaged over,
    and is left out of the joint covariance. Fewer than `least_returns` drop the term.
    """

    name: str
    feature: str
    prior_sd: float | None = None
    reference: str | None = None
    neighbours: Neighbours | None = None
    nuisance: bool = False
    least_returns: int = 0


@dataclass(frozen=True, slots=True)
class Line:
    """One coefficient on a numeric feature less its mean; a value that is not recorded adds nothing."""

    name: str
    feature: str
    prior_sd: float = WIDE_SD
    least_returns: int = 0


@dataclass(frozen=True, slots=True)
class Margin:
    """Cubic B-splines of one numeric feature: `size` of them, values rounded to `resolution`.

    A cyclic margin has the given period; an open one spans what the data show and is flat beyond.
    """

    feature: str
    size: int
    resolution: float
    period: float | None = None


@dataclass(frozen=True, slots=True)
class Smooth:
    """Penalised B-splines (Eilers & Marx 1996); two margins make a tensor product (an interaction).

    Differences of `order` between neighbouring coefficients have a variance that is estimated, one a
    margin.
    """

    name: str
    margins: tuple[Margin, ...]
    order: int = 2
    least_returns: int = 0


Term = Factor | Line | Smooth

#: The mean length of a year in days, the period of every season.
YEAR_DAYS = 365.25

DEFAULT_TERMS: tuple[Term, ...] = (
    Factor("session_kind", "session_kind", WIDE_SD, reference=MOST_COMMON),
    Factor("wind", "wind", WIDE_SD, reference=MOST_COMMON),
    Factor("year", "year", WIDE_SD, reference=LATEST),
    Smooth("season", (Margin("day_of_year", 12, 1.0, period=YEAR_DAYS),)),
    Smooth("distance", (Margin("distance_m", 10, 0.5),), least_returns=100),
    Factor("distance_missing", "distance_missing", WIDE_SD, reference=RECORDED),
    Smooth(
        "season_distance",
        (Margin("day_of_year", 6, 7.0, period=YEAR_DAYS), Margin("distance_m", 5, 1.0)),
        least_returns=300,
    ),
    Smooth("water_temperature", (Margin("water_temperature_c", 8, 0.5),), least_returns=100),
    Factor("water_temperature_missing", "water_temperature_missing", WIDE_SD, reference=RECORDED),
    Factor("water", "water"),
    Factor("peg", "peg", neighbours=Neighbours.BANK),
    Factor("angler", "angler"),
    Factor("hook_bait", "hook_bait"),
    Factor("hook_bait_month", "hook_bait_month", neighbours=Neighbours.MONTHS, least_returns=200),
    Factor("rig_type", "rig_type"),
    Factor("water_year", "water_year", least_returns=300),
    Factor("match_day", "match_day", nuisance=True),
)


@dataclass(frozen=True, slots=True)
class CatchSpec:
    """The whole model: weight ~ Tweedie(mu, phi, p), log mu = log hours + intercept + terms.

    `power` None lets p be estimated. `did_not_weigh` says what becomes of weights that nobody knows;
    when they are censored and the row states no bound, the bound is the water's median weight.
    `at_least` takes net-limit and counted-only returns as lower bounds, else they are left out.
    `estimated_dispersion` gives estimated weights a dispersion of their own. `share_parts` shares a total
    over the parts of its session, else the longest part stands for all. `smoothing_uncertainty` carries
    the uncertainty of the variances into the covariance; `freedom_correction` makes dispersion and power
    allow for the degrees of freedom spent on the mean (off only to show what it does).
    """

    terms: tuple[Term, ...] = DEFAULT_TERMS
    power: float | None = None
    did_not_weigh: DidNotWeigh = DidNotWeigh.LEFT_OUT
    at_least: bool = True
    estimated_dispersion: bool = True
    share_parts: bool = True
    smoothing_uncertainty: bool = True
    freedom_correction: bool = True
    minimum_returns: int = 60
    max_iterations: int = 120
    tolerance: float = 1e-5

    def __post_init__(self) -> None:
        if self.power is not None and not 1 < self.power < 2:
            raise ValueError("power must lie between 1 and 2, so that blanks have a probability")
        if len({term.name for term in self.terms}) != len(self.terms):
            raise ValueError("term names must be unique")

    def without(self, *names: str) -> "CatchSpec":
        """The same model with the named terms left out."""
        return replace(self, terms=tuple(term for term in self.terms if term.name not in names))
