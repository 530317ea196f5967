"""What a fit found: frozen, finite, and enough to answer every later question without the returns."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.terms import LearnedTerm, term_from_document

FORMAT = 3

#: Where a variance ended: inside, at nothing (kept at .001), or so wide that its penalty holds nothing.
INSIDE, AT_ZERO, UNBOUNDED = "inside", "at zero", "unbounded"


#: The estimates' own fields that are numbers or words.
NUMBERS = (
    *("power", "power_se", "dispersion", "estimated_dispersion", "did_not_weigh", "criterion"),
    *("intercept", "intercept_se", "edf", "deviance"),
)


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why no estimates came out: a result, not an error. `needed` says how many would have done."""

    code: str
    message: str
    needed: int | None = None


@dataclass(frozen=True, slots=True)
class Dropped:
    """A term of the spec that these returns cannot speak for."""

    name: str
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Component:
    """One estimated variance of a term: `sd` on the natural-log scale, `log_precision` = -2 log sd.

    `log_precision_se` is its standard error, None where the variance stands at a boundary, which
    `boundary` names.
    """

    name: str
    sd: float
    log_precision: float
    log_precision_se: float | None
    boundary: str


@dataclass(frozen=True, slots=True)
class TermEstimate:
    """One term's coefficients, log scale, in the order of `term.coefficient_names`.

    `start` is the term's first column in the joint covariance; None for a nuisance term, which is not in
    it. `edf` are the effective degrees of freedom that the data spent on the term. `prior_sd` is the
    standard deviation of one level, or of the curve over the returns, before the data: what a level that
    was never seen takes.
    """

    term: LearnedTerm
    estimates: tuple[float, ...]
    standard_errors: tuple[float, ...]
    edf: float
    prior_sd: float
    start: int | None
    components: tuple[Component, ...] = ()

    @property
    def name(self) -> str:
        return self.term.name

    def effects(self) -> dict[str, tuple[float, float]]:
        """Level to (estimate, standard error)."""
        values = zip(self.estimates, self.standard_errors, strict=True)
        return dict(zip(self.term.coefficient_names, values, strict=True))


@dataclass(frozen=True, slots=True)
class Convergence:
    """How the iterations ended; `gradient` is the largest that was left.

    Of the restricted log-likelihood by any log smoothing parameter, and by any coefficient, dispersion or
    the power in its standard errors.
    """

    converged: bool
    iterations: int
    gradient: float
    seconds: float
    deviances: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Reference:
    """The conditions under which an answer stands when a question does not name its own."""

    year: str
    wind: str
    session_kind: str
    hours: float
    water_temperature_by_month: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Rows:
    """Which returns were used: how many, of which days, and how many were left out for which reason.

    Of those used: exact zeros, weights between two bounds, estimated weights, sessions of several parts.
    """

    used: int
    blanks: int
    bounded: int
    estimated: int
    several_parts: int
    left_out: Mapping[str, int]
    first: date
    last: date


@dataclass(frozen=True, slots=True, eq=False)
class Estimates:
    """Coefficients, dispersion and joint uncertainty of one fit.

    `covariance_factor` is F, (k, k) lower triangular, FF' the joint posterior covariance of the intercept
    (column 0) and of every term that is not a nuisance. Weights are in grams, effort in rod-hours.
    `estimated_dispersion` is that of estimated weights. `power_se` is None where the power was given.
    `did_not_weigh` says what was made of weights that nobody knows (`spec.DidNotWeigh`). `criterion` is
    minus the restricted log-likelihood, up to a constant of the returns.
    """

    power: float
    power_se: float | None
    dispersion: float
    estimated_dispersion: float
    did_not_weigh: str
    criterion: float
    intercept: float
    intercept_se: float
    terms: tuple[TermEstimate, ...]
    covariance_factor: FloatArray
    edf: float
    deviance: float
    convergence: Convergence
    rows: Rows
    reference: Reference
    dropped: tuple[Dropped, ...]

    def __post_init__(self) -> None:
        size = 1 + sum(item.term.size for item in self.terms if item.start is not None)
        if self.covariance_factor.shape != (size, size):
            raise ValueError(f"covariance factor must be {size} by {size}")
        if not np.isfinite(self.covariance_factor).all():
            raise ValueError("covariance factor holds a number that is not finite")
        self.covariance_factor.setflags(write=False)

    def term(self, name: str) -> TermEstimate | None:
        """The named term, None when the spec lacks it or it was dropped."""
        return next((item for item in self.terms if item.name == name), None)

    def to_document(self) -> dict[str, Any]:
        """Everything but the covariance factor, as JSON values.

        :raises ValueError: a number is not finite.
        """
        document: dict[str, Any] = {"format": FORMAT}
        for name in NUMBERS:
            document[name] = getattr(self, name)
        document["terms"] = [asdict(item) for item in self.terms]
        document["convergence"] = asdict(self.convergence)
        document["rows"] = asdict(self.rows) | {
            "first": self.rows.first.isoformat(),
            "last": self.rows.last.isoformat(),
        }
        document["reference"] = asdict(self.reference)
        document["dropped"] = [asdict(item) for item in self.dropped]
        plain: dict[str, Any] = _plain(document)
        return plain


def from_document(document: Mapping[str, Any], covariance_factor: FloatArray) -> Estimates:
    """Estimates from `to_document` and the covariance factor beside it, copied if it can change.

    :raises ValueError: unknown format, wrong shape, or a number that is not finite.
    """
    if document.get("format") != FORMAT:
        raise ValueError("unknown format of estimates")
    _plain(document)
    rows = document["rows"]
    span = {name: date.fromisoformat(rows[name]) for name in ("first", "last")}
    return Estimates(
        **{name: document[name] for name in NUMBERS},
        terms=tuple(_term_estimate(item) for item in document["terms"]),
        covariance_factor=np.array(
            covariance_factor, dtype=np.float64, copy=covariance_factor.flags.writeable
        ),
        convergence=Convergence(**_tuples(document["convergence"])),
        rows=Rows(**{**rows, **span}),
        reference=Reference(**_tuples(document["reference"])),
        dropped=tuple(Dropped(**item) for item in document["dropped"]),
    )


def _term_estimate(document: Mapping[str, Any]) -> TermEstimate:
    components = tuple(Component(**item) for item in document["components"])
    term = term_from_document(document["term"])
    return TermEstimate(**{**_tuples(document), "term": term, "components": components})


def _tuples(document: Mapping[str, Any]) -> dict[str, Any]:
    return {name: tuple(value) if isinstance(value, list) else value for name, value in document.items()}


def _plain(value: Any) -> Any:
    """JSON values all the way down; refuses what JSON, or a reader, could not understand."""
    match value:
        case Mapping():
            return {str(name): _plain(item) for name, item in value.items()}
        case list() | tuple():
            return list(value) if _plain_already(value) else [_plain(item) for item in value]
        case bool() | str() | None:
            return value
        case int():
            return int(value)
        case float():
            if not math.isfinite(value):
                raise ValueError("estimates hold a number that is not finite")
            return float(value)
        case _:
            raise ValueError(f"estimates hold a {type(value).__name__}, which is not a JSON value")


def _plain_already(values: Sequence[Any]) -> bool:
    """Whether all are words or all finite numbers: there are thousands, and a run is loaded in no time."""
    kinds = set(map(type, values))
    return kinds == {str} or (kinds == {float} and all(map(math.isfinite, values)))
