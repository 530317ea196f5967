"""Estimates to rows and one binary column, and back.

What is loaded is kept in a small cache of the process, by the run's public id: a run never changes.
"""

import hashlib
import io
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.estimates import FORMAT, Estimates
from analytics.catchrate.verdict import Verdict
from analytics.held import HELD
from analytics.models import FitCoefficient, FitRun, FitTerm
from analytics.stored import (
    AS_IN_DOCUMENT,
    OF_CONVERGENCE,
    OF_ROWS,
    DamagedFit,
    StoredFit,
    read_run,
    seed_of,
)
from analytics.turns import Turns
from clubdata.models import Club, Job
from clubdata.services import jobs

__all__ = [
    "DamagedFit",
    "Fitted",
    "StoredFit",
    "forget",
    "job_of",
    "load_fit",
    "promoted_run",
    "seed_of",
    "served_run",
    "store_fit",
]

#: Runs of a club that stay; older ones go when a new one is stored, save the promoted one.
KEPT_RUNS = 5
CACHED_RUNS = 8
#: Rows of runs without their numbers.
CACHED_ROWS = 32
COVARIANCE_DTYPE = "<f8"
HEAVY = ("covariance", "support", "observed", "spec", "deviances", "check_report")


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """What a fit brings to the store beside its estimates.

    `support` is as `count_support` gives it, `observed` as `analytics.observed.whole` does.
    """

    estimates: Estimates
    revision: int
    fingerprint: str
    support: Mapping[str, Any]
    observed: Mapping[str, Any]
    spec: Mapping[str, Any]
    versions: Mapping[str, str]
    check_report: Mapping[str, Any]
    verdict: Verdict
    warm_from: UUID | None = None


def store_fit(*, claim: jobs.Claim, now: datetime, fitted: Fitted) -> FitRun:
    """Store the run, promote it, sweep old ones and finish the job, all or nothing.

    A run that its verdict does not let through, or of an older revision than the promoted one, is kept but
    not promoted.

    :raises jobs.LeaseLost: the job is no longer this worker's; nothing is stored.
    :raises ValueError: a number is not finite; nothing is stored.
    """
    document = fitted.estimates.to_document()
    with transaction.atomic():
        job = jobs.hold(claim=claim)
        # One at a time a club, so that each sees what the other promoted; rows may refer to it meanwhile.
        Club.objects.select_for_update(no_key=True).get(pk=job.club_id)
        run = FitRun.objects.create(job=job, club_id=job.club_id, **_run_values(fitted, document, now))
        _store_terms(run, document["terms"])
        promoted = fitted.verdict.may_serve and _promote(run, now=now)
        _sweep(run.club_id)
        jobs.finish(claim=claim, now=now, result=_result(run, promoted=promoted))
    return run


def store_beside(*, run: FitRun, target: str, now: datetime, fitted: Fitted) -> FitRun:
    """Store the run of one group of species beside a run, in the caller's transaction."""
    document = fitted.estimates.to_document()
    values = _run_values(fitted, document, now)
    beside = FitRun.objects.create(beside=run, target=target, club_id=run.club_id, **values)
    _store_terms(beside, document["terms"])
    return beside


def promoted_run(*, club: Club, target: str = "") -> FitRun | None:
    """The club's promoted run, without its heavy columns: of everything caught, or the one of a group of
    species that stands beside it.

    A run of an earlier format is none: nobody can read it, and the schedule asks for another.
    """
    served = FitRun.objects.filter(club=club, format=FORMAT, target=target)
    served = served.filter(beside__promoted=True) if target else served.filter(promoted=True)
    run: FitRun | None = served.defer(*HEAVY).first()
    return run


def served_run(*, club: Club, target: str = "") -> FitRun | None:
    """The run that this process answers from: the promoted one, or the one before while it is being read."""
    held = HELD.of(club.pk)
    if held is None:
        return promoted_run(club=club, target=target)
    try:
        return _row_of(club.pk, held.run_uid, target)
    except FitRun.DoesNotExist:
        # The one that is held may have been swept; a group's may come with its study.
        return None if target else promoted_run(club=club)


@lru_cache(maxsize=CACHED_ROWS)
def _row_of(club_pk: int, run_uid: UUID, target: str) -> FitRun:
    runs = FitRun.objects.filter(club_id=club_pk, format=FORMAT, target=target)
    runs = runs.filter(beside__uid=run_uid) if target else runs.filter(uid=run_uid)
    run: FitRun = runs.defer(*HEAVY).get()
    return run


_cache: OrderedDict[UUID, StoredFit] = OrderedDict()
_cache_lock = threading.Lock()
#: Threads that want the same run read it once.
_turns = Turns()


def load_fit(run: FitRun) -> StoredFit:
    """The run's estimates and support, from the cache or in three queries.

    :raises DamagedFit: digest, shape, type or a number is not as it was stored.
    """
    stored = _kept(run.uid)
    if stored is not None:
        return stored
    with _turns.of(run.uid):
        stored = _kept(run.uid)
        if stored is None:
            stored = read_run(run)
            _keep(run.uid, stored)
    return stored


def _kept(uid: UUID) -> StoredFit | None:
    with _cache_lock:
        if uid in _cache:
            _cache.move_to_end(uid)
        return _cache.get(uid)


def _keep(uid: UUID, stored: StoredFit) -> None:
    with _cache_lock:
        _cache[uid] = stored
        while len(_cache) > CACHED_RUNS:
            _cache.popitem(last=False)


def forget() -> None:
    """Empty the cache."""
    with _cache_lock:
        _cache.clear()
    _row_of.cache_clear()


def _run_values(fitted: Fitted, document: Mapping[str, Any], now: datetime) -> dict[str, Any]:
    rows, convergence = document["rows"], document["convergence"]
    raw = _packed(fitted.estimates.covariance_factor)
    return {
        **{name: document[name] for name in AS_IN_DOCUMENT},
        **{name: convergence[name] for name in OF_CONVERGENCE},
        **{column: rows[name] for name, column in OF_ROWS.items()},
        "first_on": rows["first"],
        "last_on": rows["last"],
        "warm_from": fitted.warm_from,
        "revision": fitted.revision,
        "fingerprint": fitted.fingerprint,
        "support": fitted.support,
        "observed": fitted.observed,
        "spec": fitted.spec,
        "versions": fitted.versions,
        "check_report": fitted.check_report,
        "verdict": fitted.verdict.code,
        "verdict_reason": fitted.verdict.reason[:400],
        "covariance": raw,
        "covariance_size": len(fitted.estimates.covariance_factor),
        "covariance_dtype": COVARIANCE_DTYPE,
        "covariance_sha256": hashlib.sha256(raw).hexdigest(),
        "fitted_at": now,
    }


def _store_terms(run: FitRun, documents: list[dict[str, Any]]) -> None:
    terms = [_term_row(run, position, document) for position, document in enumerate(documents)]
    FitTerm.objects.bulk_create(terms)
    FitCoefficient.objects.bulk_create(
        (
            FitCoefficient(club_id=run.club_id, term=term, position=place, level=level, **values)
            for term, document in zip(terms, documents, strict=True)
            for place, (level, values) in enumerate(_coefficients(document))
        ),
        batch_size=2000,
    )


def _term_row(run: FitRun, position: int, document: Mapping[str, Any]) -> FitTerm:
    learned = {name: value for name, value in document["term"].items() if name != "levels"}
    return FitTerm(
        club_id=run.club_id,
        run=run,
        position=position,
        name=document["term"]["spec"]["name"],
        kind=_kind(learned),
        learned=learned,
        components=document["components"],
        prior_sd=document["prior_sd"],
        edf=document["edf"],
        first_column=document["start"],
    )


def _kind(learned: Mapping[str, Any]) -> str:
    """As `analytics.catchrate.terms.term_from_document` tells them apart."""
    if "margins" in learned:
        return "smooth"
    return "line" if "mean" in learned else "factor"


def _coefficients(document: Mapping[str, Any]) -> list[tuple[str, dict[str, float]]]:
    estimates, errors = document["estimates"], document["standard_errors"]
    numbered = [str(number) for number in range(1, len(estimates) + 1)]
    levels = document["term"].get("levels", numbered)
    return [
        (level, {"estimate": estimate, "standard_error": error})
        for level, estimate, error in zip(levels, estimates, errors, strict=True)
    ]


def _promote(run: FitRun, *, now: datetime) -> bool:
    """Serve this run, unless a run of later returns is served already."""
    served = FitRun.objects.filter(club_id=run.club_id, promoted=True)
    if served.filter(revision__gt=run.revision).exists():
        return False
    served.update(promoted=False)
    FitRun.objects.filter(pk=run.pk).update(promoted=True, promoted_at=now)
    run.promoted, run.promoted_at = True, now
    return True


def _sweep(club_id: int) -> None:
    runs = FitRun.objects.filter(club_id=club_id, beside=None).order_by("-id")
    kept = list(runs.values_list("pk", flat=True)[:KEPT_RUNS])
    runs.exclude(pk__in=kept).filter(promoted=False).delete()


def _result(run: FitRun, *, promoted: bool) -> dict[str, Any]:
    return {
        "run": str(run.uid),
        "promoted": promoted,
        "verdict": run.verdict,
        "verdict_reason": run.verdict_reason,
        "revision": run.revision,
        "fingerprint": run.fingerprint,
        "rows_used": run.rows_used,
        "rows_left_out": run.rows_left_out,
    }


def _packed(factor: FloatArray) -> bytes:
    buffer = io.BytesIO()
    np.save(buffer, np.ascontiguousarray(factor, dtype=COVARIANCE_DTYPE), allow_pickle=False)
    return buffer.getvalue()


def job_of(claim: jobs.Claim) -> Job:
    """The claimed job with its club."""
    job: Job = Job.objects.select_related("club").get(pk=claim.job_id)
    return job
