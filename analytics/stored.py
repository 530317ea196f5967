"""A stored run back as estimates, checked against its digest; a run never changes once it is stored."""

import hashlib
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from django.db.models import TextField
from django.db.models.functions import Cast

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.estimates import NUMBERS, Estimates, from_document
from analytics.models import FitCoefficient, FitRun, FitTerm
from clubdata.errors import ClubdataError

#: Columns that hold what the estimates' document holds under the same name, whole or of its convergence.
AS_IN_DOCUMENT = ("format", *NUMBERS, "reference", "dropped")
OF_CONVERGENCE = ("converged", "gradient", "iterations", "seconds", "deviances")
#: Columns of the rows' counts, by their name in the document.
OF_ROWS = {
    "used": "rows_used",
    "blanks": "blanks",
    "bounded": "bounded",
    "estimated": "estimated",
    "several_parts": "several_parts",
    "left_out": "rows_left_out",
}


#: The header of an `.npy` of two dimensions is this long.
NPY_HEAD = 128


class DamagedFit(ClubdataError):
    """The stored numbers of a run are not those that were written."""

    code = "fit_damaged"


@dataclass(frozen=True, eq=False)
class StoredFit:
    """A run as the answers read it; what was counted is parsed for the first answer that asks for it."""

    estimates: Estimates
    seed: int
    support_text: str
    observed_text: str

    @cached_property
    def support(self) -> Mapping[str, Any]:
        """As `count_support` gives it."""
        return _mapping(self.support_text)

    @cached_property
    def observed(self) -> Mapping[str, Any]:
        """As `analytics.observed.whole` gives it."""
        return _mapping(self.observed_text)


@dataclass(frozen=True, slots=True)
class _Columns:
    """A term's coefficients in their order."""

    levels: list[str] = field(default_factory=list)
    estimates: list[float] = field(default_factory=list)
    standard_errors: list[float] = field(default_factory=list)


def read_run(run: FitRun) -> StoredFit:
    """The run's numbers, in three queries.

    :raises DamagedFit: digest, shape, type or a number is not as it was stored.
    """
    light = FitRun.objects.defer("support", "observed", "check_report")
    texts = {f"{name}_text": Cast(name, TextField()) for name in ("support", "observed")}
    whole = light.annotate(**texts).get(pk=run.pk)
    terms = list(FitTerm.objects.filter(run=whole).order_by("position"))
    columns = {term.pk: _Columns() for term in terms}
    rows = FitCoefficient.objects.filter(term__in=terms).order_by("position")
    for term_id, level, estimate, error in rows.values_list("term_id", "level", "estimate", "standard_error"):
        columns[term_id].levels.append(level)
        columns[term_id].estimates.append(estimate)
        columns[term_id].standard_errors.append(error)
    document = _document(whole, [_term_document(term, columns[term.pk]) for term in terms])
    try:
        estimates = from_document(document, _unpacked(whole))
    except (ValueError, KeyError, TypeError) as error:
        raise DamagedFit("The stored fit cannot be read; ask for a new one.") from error
    return StoredFit(estimates, seed_of(whole.fingerprint), whole.support_text, whole.observed_text)


def _document(run: FitRun, terms: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        **{name: getattr(run, name) for name in AS_IN_DOCUMENT},
        "terms": terms,
        "convergence": {name: getattr(run, name) for name in OF_CONVERGENCE},
        "rows": {
            **{name: getattr(run, column) for name, column in OF_ROWS.items()},
            "first": run.first_on.isoformat(),
            "last": run.last_on.isoformat(),
        },
    }


def _term_document(term: FitTerm, columns: _Columns) -> dict[str, Any]:
    levels = {"levels": columns.levels} if term.kind == "factor" else {}
    return {
        "term": term.learned | levels,
        "estimates": columns.estimates,
        "standard_errors": columns.standard_errors,
        "components": term.components,
        "edf": term.edf,
        "prior_sd": term.prior_sd,
        "start": term.first_column,
    }


def _unpacked(run: FitRun) -> FloatArray:
    """The covariance factor, once digest, type and shape are as they were stored.

    :raises DamagedFit: they are not.
    """
    raw = memoryview(run.covariance)
    if hashlib.sha256(raw).hexdigest() != run.covariance_sha256:
        raise DamagedFit("The stored covariance does not match its digest; ask for a new fit.")
    try:
        factor = _array(raw)
    except (ValueError, EOFError, OSError) as error:
        raise DamagedFit("The stored covariance is no array; ask for a new fit.") from error
    if factor.dtype.str != run.covariance_dtype or factor.shape != (run.covariance_size,) * 2:
        raise DamagedFit("The stored covariance has another shape or type than it had; ask for a new fit.")
    return factor


def _array(raw: memoryview) -> FloatArray:
    """The array of an `.npy` where it lies, uncopied and read-only.

    :raises ValueError: it is none, or one that these numbers cannot be.
    """
    head = io.BytesIO(raw[:NPY_HEAD])
    if np.lib.format.read_magic(head) != (1, 0):
        raise ValueError("an .npy of another version")
    shape, in_columns, dtype = np.lib.format.read_array_header_1_0(head)
    if in_columns or dtype.hasobject:
        raise ValueError("an .npy of another layout")
    factor: FloatArray = np.frombuffer(raw, dtype, offset=head.tell()).reshape(shape)
    factor.setflags(write=False)
    return factor


def seed_of(fingerprint: str) -> int:
    """Random draws are the same for the same rows."""
    return int(fingerprint[:8], 16)


def _mapping(text: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = json.loads(text)
    return found
