"""What only an analyst reads of a promoted run, worked out by a job of its own after it.

The fits beside the main one ask whether its years and months hold on other returns and other readings of
them: matches alone, and weights that nobody knows as zero or between bounds. (The year is a fixed effect in
the main fit already: `spec.DEFAULT_TERMS` gives it a prior of standard deviation 2, which shrinks nothing
that a club could see.) And each group of species with returns enough (`analytics.groups`) has a run of its
own beside the promoted one.
"""

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import pandas as pd
from django.db import transaction

from analytics.answers.scope import CLUB, keys_of, month_cells, scope_of, year_cells
from analytics.answers.standard import index_of
from analytics.catches import read_catch_lines
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from analytics.enough import LEAST_ANGLERS, LEAST_CAUGHT, LEAST_RETURNS
from analytics.frames import ClubFrame, load_frame
from analytics.groups import GroupReturns, groups_of
from analytics.models import FitRun, FitStudy
from analytics.runs import checked_fit, judged
from analytics.store import Fitted, StoredFit, job_of, load_fit, promoted_run, store_beside
from clubdata.models import Club
from clubdata.services import jobs

logger = logging.getLogger(__name__)

Clock = Callable[[], datetime]
Tell = Callable[[str], None]

ALL, MATCHES_ONLY = "all", "matches_only"
AS_ZERO, CENSORED = "did_not_weigh_as_zero", "did_not_weigh_censored"

#: Beats of a study: reading, three fits, the groups, storing.
_STEPS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """A fit beside the main one: by which returns, and how unknown weights are read."""

    name: str
    frame: pd.DataFrame
    spec: CatchSpec
    kind: str = "all"


@dataclass(frozen=True, slots=True, eq=False)
class GroupRun:
    """A group of species and its run, or why it has none."""

    counted: GroupReturns
    fitted: Fitted | None
    code: str = ""
    reason: str = ""


def run_study(*, claim: jobs.Claim, clock: Clock) -> None:
    """Study the claimed job's club's promoted run. The job ends finished, or refused where there is no run.

    A run is studied once. One that was displaced meanwhile keeps nothing: nobody reads it.

    :raises jobs.LeaseLost: the job is no longer this worker's; nothing is stored.
    """
    done = 0

    def tell(step: str) -> None:
        nonlocal done
        jobs.beat(claim=claim, now=clock(), done=done, total=_STEPS, step=step)
        done = min(done + 1, _STEPS - 1)

    tell("reading the returns")
    club = job_of(claim).club
    run = promoted_run(club=club)
    if run is None:
        reason = "There is no promoted fit to study."
        jobs.refuse(claim=claim, now=clock(), code="no_fit", reason=reason, result={})
        return
    if FitStudy.objects.filter(run_id=run.pk).exists():
        jobs.finish(claim=claim, now=clock(), result={"run": str(run.uid), "stored": False})
        return
    club_frame = load_frame(club=club)
    stored = load_fit(run)
    fits = fits_beside(run, stored, club_frame, tell)
    tell("groups of species")
    lines = read_catch_lines(club_id=club.pk)
    groups = [_group_run(counted, tell) for counted in groups_of(club_frame, lines)]
    tell("storing")
    document = {
        "revision": club_frame.revision,
        "same_rows": club_frame.fingerprint == run.fingerprint,
        "fits": fits,
        "groups": [_group_document(item) for item in groups],
    }
    _store(claim=claim, now=clock(), run=run, document=document, groups=groups)


def fits_beside(run: FitRun, stored: StoredFit, club_frame: ClubFrame, tell: Tell) -> list[dict[str, Any]]:
    """The main fit and those beside it as JSON values, each begun from the main one's end.

    Where returns have come in since the run, all of them are fitted once more, so that all fits are of the
    same rows.
    """
    spec = CatchSpec()
    frame = club_frame.frame
    same = club_frame.fingerprint == run.fingerprint
    tell("all returns")
    whole = stored.estimates if same else fit_catch(frame, spec, None, stored.estimates)
    matches = frame[frame["is_match"]]
    words = matches.select_dtypes("category").columns
    matches = matches.assign(**{name: matches[name].cat.remove_unused_categories() for name in words})
    others = (
        Beside(MATCHES_ONLY, matches, spec, "match"),
        Beside(AS_ZERO, frame, replace(spec, did_not_weigh=DidNotWeigh.AS_ZERO)),
        Beside(CENSORED, frame, replace(spec, did_not_weigh=DidNotWeigh.CENSORED)),
    )
    series = stored.observed.get("series", {})
    found = [_fit_document(ALL, whole, series, "all")]
    for beside in others:
        tell(beside.name.replace("_", " "))
        estimates = fit_catch(beside.frame, beside.spec, None, stored.estimates)
        found.append(_fit_document(beside.name, estimates, series, beside.kind))
    return found


def _fit_document(
    name: str, estimates: Estimates | Refusal, series: Mapping[str, Any], kind: str
) -> dict[str, Any]:
    """`index` is by water and for the club (an empty name) of `year` and `month`, each as
    `analytics.answers.standard.Index.to_document` has it."""
    if isinstance(estimates, Refusal):
        refusal = {"code": estimates.code, "message": estimates.message, "needed": estimates.needed}
        return {"name": name, "refusal": refusal, "rows_used": None, "index": {}}
    codes = (CLUB, *series.get("pegs", {}))
    indices = {code: _indices(estimates, series, code, kind) for code in codes}
    return {
        "name": name,
        "refusal": None,
        "rows_used": estimates.rows.used,
        "power": estimates.power,
        "dispersion": estimates.dispersion,
        "index": {code: found for code, found in indices.items() if found},
    }


def _indices(estimates: Estimates, series: Mapping[str, Any], code: str, kind: str) -> dict[str, Any]:
    scope = scope_of(estimates, series, code)
    if scope is None:
        return {}
    years = year_cells(estimates, scope, keys_of(series, "year", code, kind))
    return {
        "year": index_of(estimates, scope, years).to_document(),
        "month": index_of(estimates, scope, month_cells(scope, None)).to_document(),
    }


def _group_run(counted: GroupReturns, tell: Tell) -> GroupRun:
    if counted.club_frame is None:
        reason = (
            f"{LEAST_RETURNS} returns of {LEAST_ANGLERS} anglers that tell their whole weight by species are "
            f"needed, {LEAST_CAUGHT} of them with some of this group."
        )
        return GroupRun(counted, None, "too_few_returns", reason)
    spec = CatchSpec()
    found = checked_fit(
        counted.club_frame, spec, None, lambda _done, _step: tell(f"fitting {counted.group}"[:60])
    )
    if isinstance(found, Refusal):
        return GroupRun(counted, None, found.code, found.message)
    fitted = judged(found, counted.club_frame, spec)
    if not fitted.verdict.may_serve:
        return GroupRun(counted, None, fitted.verdict.code, fitted.verdict.reason)
    return GroupRun(counted, fitted)


def _group_document(item: GroupRun) -> dict[str, Any]:
    counted = item.counted
    return {
        "group": counted.group,
        "returns": counted.returns,
        "anglers": counted.anglers,
        "caught": counted.caught,
        "fitted": item.fitted is not None,
        "code": item.code,
        "reason": item.reason,
    }


def _store(
    *, claim: jobs.Claim, now: datetime, run: FitRun, document: dict[str, Any], groups: Sequence[GroupRun]
) -> None:
    """Store the study and the groups' runs and finish the job, all or nothing.

    :raises jobs.LeaseLost: the job is no longer this worker's; nothing is stored.
    """
    with transaction.atomic():
        job = jobs.hold(claim=claim)
        # One at a time a club, as where runs are stored: a run is not displaced while its study is.
        Club.objects.select_for_update(no_key=True).get(pk=job.club_id)
        served = FitRun.objects.filter(pk=run.pk, promoted=True, study=None).exists()
        if served:
            FitStudy.objects.create(club_id=job.club_id, run_id=run.pk, document=document, studied_at=now)
            for item in groups:
                if item.fitted is not None:
                    store_beside(run=run, target=item.counted.group, now=now, fitted=item.fitted)
        else:
            logger.info("the run was displaced while it was studied", extra={"run_uid": str(run.uid)})
        jobs.finish(claim=claim, now=now, result={"run": str(run.uid), "stored": served})
