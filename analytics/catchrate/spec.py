"""What the catch model is made of: frozen choices, made before any data are seen.

A term is a factor (levels with a Gaussian prior) or a smooth (penalised B-splines of one or two
features). Prior standard deviations are on the natural-log scale of expected weight: .35 means that
about two pegs in three lie within exp(±.35), that is within -30 % and +42 %, of the typical peg.
They are fixed here and not searched for.
"""

from dataclasses import dataclass, replace

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
    "match_day": "match day",
    "averaging": "averaging over match days and anglers",
}


@dataclass(frozen=True, slots=True)
class Factor:
    """One coefficient a level, each with prior N(0, prior_sd²).

    `reference` names the level whose effect is zero: a level, LATEST or MOST_COMMON; None gives every
    level its own effect (a random effect). A `nuisance` factor is needed to fit but never to predict: it
    is averaged over, and is left out of the joint covariance.
    """

    name: str
    feature: str
    prior_sd: float
    reference: str | None = None
    nuisance: bool = False


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

    Differences of `order` between neighbouring coefficients have prior standard deviation
    `roughness_sd`; the coefficients themselves have `level_sd`, which keeps the straight line proper.
    """

    name: str
    margins: tuple[Margin, ...]
    roughness_sd: float
    order: int = 2
    level_sd: float = WIDE_SD


Term = Factor | Smooth

#: The mean length of a year in days, the period of every season.
YEAR_DAYS = 365.25

#: The smooths' priors were set by what they say of the curve itself, as its prior standard deviation over
#: a club's returns: season .4, distance .4, water temperature .4, distance in this season .2. The
#: interaction's own numbers are large because centred margins multiply to small basis values.
DEFAULT_TERMS: tuple[Term, ...] = (
    Factor("session_kind", "session_kind", WIDE_SD, reference=MOST_COMMON),
    Factor("wind", "wind", WIDE_SD, reference=MOST_COMMON),
    Factor("year", "year", WIDE_SD, reference=LATEST),
    Smooth("season", (Margin("day_of_year", 12, 1.0, period=YEAR_DAYS),), roughness_sd=0.3),
    Smooth("distance", (Margin("distance_m", 10, 0.5),), roughness_sd=0.2),
    Factor("distance_missing", "distance_missing", WIDE_SD, reference=RECORDED),
    Smooth(
        "season_distance",
        (Margin("day_of_year", 6, 7.0, period=YEAR_DAYS), Margin("distance_m", 5, 1.0)),
        roughness_sd=2.5,
        order=1,
        level_sd=3.0,
    ),
    Smooth("water_temperature", (Margin("water_temperature_c", 8, 0.5),), roughness_sd=0.2),
    Factor("water_temperature_missing", "water_temperature_missing", WIDE_SD, reference=RECORDED),
    Factor("water", "water", 0.35),
    Factor("peg", "peg", 0.35),
    Factor("angler", "angler", 0.45),
    Factor("hook_bait", "hook_bait", 0.25),
    Factor("hook_bait_month", "hook_bait_month", 0.20),
    Factor("rig_type", "rig_type", 0.15),
    Factor("match_day", "match_day", 0.30, nuisance=True),
)


@dataclass(frozen=True, slots=True)
class CatchSpec:
    """The whole model: weight ~ Tweedie(mu, phi, power), log mu = log hours + intercept + terms."""

    terms: tuple[Term, ...] = DEFAULT_TERMS
    power: float = 1.5
    minimum_returns: int = 60
    max_iterations: int = 60
    tolerance: float = 1e-8

    def __post_init__(self) -> None:
        if not 1 < self.power < 2:
            raise ValueError("power must lie between 1 and 2, so that blanks have a probability")
        if len({term.name for term in self.terms}) != len(self.terms):
            raise ValueError("term names must be unique")

    def without(self, *names: str) -> "CatchSpec":
        """The same model with the named terms left out."""
        return replace(self, terms=tuple(term for term in self.terms if term.name not in names))
