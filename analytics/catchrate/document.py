"""The fit as one JSON document: what a reader wants to see, and all that a prediction needs.

`estimates` and `covariance_factor` are the fit itself (`estimates.Estimates`); everything above them says
the same in plain words. Weights are in grams, effort in rod-hours, effects on the natural-log scale.
"""

import base64
import json
import platform
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from importlib.metadata import version
from typing import Any

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.estimates import Estimates, Refusal, TermEstimate, from_document
from analytics.catchrate.spec import CatchSpec, Factor, Margin
from analytics.catchrate.terms import LearnedFactor, LearnedMargin, LearnedSmooth

FORMAT = "catch model fit, version 1"
LIBRARIES = ("numpy", "scipy", "pandas", "pyarrow")

#: Points along a curve, and along each side of a surface.
CURVE_POINTS, SURFACE_POINTS = 101, 21

FIXED, RANDOM, NEIGHBOURLY = "fixed effect", "random effect", "random effect with neighbours"
LINE, SPLINE, CYCLIC, TENSOR = "line", "P-spline", "cyclic P-spline", "tensor product of P-splines"


class DocumentProblem(Exception):
    """A document holds no fit that this version can read."""


@dataclass(frozen=True, slots=True, eq=False)
class FitDocument:
    """A fit with its spec and `home_waters`, how its file told pegs apart (`files.ReturnsFile`)."""

    estimates: Estimates
    spec: CatchSpec
    home_waters: Mapping[str, str]
    absent_columns: tuple[str, ...] = ()
    ignored_columns: tuple[str, ...] = ()

    def to_json(self) -> str:
        """The document, one line a part; a reader of JSON sees no difference."""
        estimates = self.estimates
        document: dict[str, Any] = {
            "format": FORMAT,
            "versions": {"python": platform.python_version()} | {name: version(name) for name in LIBRARIES},
            **_summary(estimates),
            "rows": estimates.to_document()["rows"],
            "terms": [term_document(estimates, item) for item in estimates.terms],
            "dropped": [asdict(item) for item in estimates.dropped],
            "reference": asdict(estimates.reference),
            "columns": {"absent": self.absent_columns, "ignored": self.ignored_columns},
            "home_waters": dict(self.home_waters),
            "spec": asdict(self.spec),
            "estimates": estimates.to_document(),
            "covariance_factor": _packed(estimates.covariance_factor),
        }
        return _lines(document)


def read_document(text: str) -> tuple[Estimates, dict[str, str]]:
    """The estimates of a fit document, and its `home_waters`.

    :raises DocumentProblem: it is no such document, or that of a refusal.
    """
    try:
        document = json.loads(text)
        if document["format"] != FORMAT:
            raise DocumentProblem(f"the document's format is not '{FORMAT}'")
        if "code" in document:
            raise DocumentProblem(f"the document is a refusal: {document['message']}")
        factor = _unpacked(document["covariance_factor"])
        return from_document(document["estimates"], factor), dict(document["home_waters"])
    except (ValueError, KeyError, TypeError) as problem:
        raise DocumentProblem("the document is no fit, or is damaged") from problem


def refusal_to_json(refusal: Refusal) -> str:
    """A refusal is a result too: `code`, `message`, and how many returns would be `needed`, or null."""
    return json.dumps({"format": FORMAT, **asdict(refusal)}) + "\n"


def _summary(estimates: Estimates) -> dict[str, Any]:
    convergence = estimates.convergence
    return {
        "p": estimates.power,
        "p_se": estimates.power_se,
        "phi": estimates.dispersion,
        "phi_of_estimated_weights": estimates.estimated_dispersion,
        "did_not_weigh": estimates.did_not_weigh,
        "intercept": estimates.intercept,
        "intercept_se": estimates.intercept_se,
        "edf": estimates.edf,
        "deviance": estimates.deviance,
        "criterion": estimates.criterion,
        "converged": convergence.converged,
        "gradient": convergence.gradient,
        "iterations": convergence.iterations,
        "seconds": convergence.seconds,
    }


def term_document(estimates: Estimates, item: TermEstimate) -> dict[str, Any]:
    """One term for a reader: its kind, levels or grid, estimates, standard errors and variances."""
    found: dict[str, Any] = {
        "name": item.name,
        "kind": _kind(item),
        "edf": item.edf,
        "prior_sd": item.prior_sd,
    }
    found["variances"] = [
        {
            "of": component.name,
            "sd": component.sd,
            "variance": component.sd**2,
            "smoothing_parameter": float(np.exp(component.log_precision)),
            "log_smoothing_parameter": component.log_precision,
            "log_smoothing_parameter_se": component.log_precision_se,
            "boundary": component.boundary,
        }
        for component in item.components
    ]
    if isinstance(item.term, LearnedFactor):
        if item.term.reference is not None:
            found["reference"] = item.term.reference
        found["levels"] = item.term.levels
    found |= {"estimates": item.estimates, "standard_errors": item.standard_errors}
    if isinstance(item.term, LearnedSmooth):
        found["grid"] = curve(estimates, item, item.term)
    return found


def _kind(item: TermEstimate) -> str:
    term = item.term
    if isinstance(term, LearnedSmooth):
        if len(term.margins) > 1:
            return TENSOR
        return CYCLIC if term.margins[0].spec.period is not None else SPLINE
    if isinstance(term, LearnedFactor):
        return _kind_of_factor(term.spec)
    return LINE


def _kind_of_factor(spec: Factor) -> str:
    if spec.prior_sd is not None:
        return FIXED
    return RANDOM if spec.neighbours is None else NEIGHBOURLY


def curve(estimates: Estimates, item: TermEstimate, term: LearnedSmooth) -> dict[str, list[float]]:
    """A smooth on a grid: by feature its values, and `estimate` and `standard_error` at each point."""
    most = CURVE_POINTS if len(term.margins) == 1 else SURFACE_POINTS
    axes = [_axis(margin, most) for margin in term.margins]
    points = [side.ravel() for side in np.meshgrid(*axes, indexing="ij")]
    features = {margin.spec.feature: side for margin, side in zip(term.margins, points, strict=True)}
    encoded = term.encode(features)
    grid = {name: side.tolist() for name, side in features.items()}
    grid["estimate"] = encoded.spread(np.asarray(item.estimates)).tolist()
    assert item.start is not None  # noqa: S101 - a smooth is no nuisance
    rows = encoded.spread(estimates.covariance_factor[item.start : item.start + term.size])
    grid["standard_error"] = np.sqrt(np.einsum("ij,ij->i", rows, rows)).tolist()
    return grid


def _axis(margin: LearnedMargin, most: int) -> FloatArray:
    """At most so many values of a margin, multiples of its resolution, from end to end."""
    spec: Margin = margin.spec
    lower, upper = (margin.lower, margin.upper) if spec.period is None else (spec.resolution, spec.period)
    first, last = int(np.ceil(lower / spec.resolution)), int(np.floor(upper / spec.resolution))
    steps = np.unique(np.rint(np.linspace(first, last, min(most, last - first + 1))))
    return np.asarray(steps * spec.resolution, dtype=np.float64)


def _packed(factor: FloatArray) -> dict[str, Any]:
    """The lower triangle row by row, as base64 of little-endian float64."""
    lower = factor[np.tril_indices(len(factor))].astype("<f8")
    packed = base64.b64encode(lower.tobytes()).decode("ascii")
    return {"size": len(factor), "triangle": "lower, by rows", "type": "<f8", "base64": packed}


def _unpacked(document: Mapping[str, Any]) -> FloatArray:
    size = int(document["size"])
    factor = np.zeros((size, size))
    factor[np.tril_indices(size)] = np.frombuffer(base64.b64decode(document["base64"]), dtype="<f8")
    return factor


def _lines(document: Mapping[str, Any]) -> str:
    written = {name: _json(value) for name, value in document.items()}
    written["terms"] = "[\n  " + ",\n  ".join(_json(item) for item in document["terms"]) + "\n ]"
    return "{\n" + ",\n".join(f" {_json(name)}: {value}" for name, value in written.items()) + "\n}\n"


def _json(value: Any) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False)
