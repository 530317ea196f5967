"""Look at what is new, load, fit, check, store, promote: a claimed job from returns to numbers that answers
read.

A run that is promoted asks for its study (`analytics.study`) in the same transaction.
"""

import logging
import platform
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from importlib import metadata
from typing import Any
from uuid import UUID

from django.db import transaction
from pandas import DataFrame

from analytics.catchrate.check import Check, check_fit, diagnose_fit
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.returns import Returns, usable_returns
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.trust import misfit_of, verdict_of
from analytics.catchrate.validation import time_ordered_validation
from analytics.counts import count_support
from analytics.frames import ClubFrame, load_frame
from analytics.judging import judge_unseen
from analytics.models import FitRun
from analytics.observed.whole import observe
from analytics.report import report_of
from analytics.requests import fit_stale_clubs, request_fit, request_study
from analytics.store import DamagedFit, Fitted, job_of, load_fit, promoted_run, seed_of, store_fit
from clubdata.models import Club
from clubdata.services import jobs

__all__ = ["fit_stale_clubs", "request_fit", "run_fit"]

logger = logging.getLogger(__name__)

Clock = Callable[[], datetime]
#: Called with (done, total, step).
Progress = Callable[[int, int, str], None]

#: Called with (done, step).
Tell = Callable[[int, str], None]

LIBRARIES = ("django", "numpy", "pandas", "scipy", "statsmodels")


@dataclass(frozen=True, slots=True, eq=False)
class CheckedFit:
    """A fit that came out, held against its own returns, and the run that it was begun from."""

    estimates: Estimates
    returns: Returns
    check: Check
    warm_from: UUID | None = None


def run_fit(*, claim: jobs.Claim, clock: Clock, progress: Progress | None = None) -> None:
    """Fit the claimed job's club. The job ends finished with a stored run, or refused with a reason.

    A return that arrives meanwhile leaves the run stale: its revision was read before the rows.

    :raises jobs.LeaseLost: the job is no longer this worker's; nothing is stored.
    """
    spec = CatchSpec()
    # Around the iterations: reading, checking and storing.
    total = spec.max_iterations + 3

    def tell(done: int, step: str) -> None:
        jobs.beat(claim=claim, now=clock(), done=done, total=total, step=step)
        if progress is not None:
            progress(done, total, step)

    tell(0, "reading the returns")
    club = job_of(claim).club
    earlier = _earlier_fit(club)
    if earlier is not None:
        # Before the rows are read, so that what is asked about is left out of this very fit.
        judge_unseen(claim=claim, club=club, estimates=earlier[1], now=clock())
    club_frame = load_frame(club=club)
    found = checked_fit(club_frame, spec, earlier, tell)
    if isinstance(found, Refusal):
        _refuse(claim, clock(), found, club_frame)
        return
    fitted = judged(found, club_frame, spec)
    tell(total - 1, "storing")
    with transaction.atomic():
        run = store_fit(claim=claim, now=clock(), fitted=fitted)
        if run.promoted:
            request_study(club=club, now=clock())
    if progress is not None:
        progress(total, total, "done")


def judged(found: CheckedFit, club_frame: ClubFrame, spec: CatchSpec) -> Fitted:
    """A fit with everything that is stored beside it, and what became of it on days it had not seen."""
    seed = seed_of(club_frame.fingerprint)
    diagnosis = diagnose_fit(found.estimates, found.returns, seed=seed)

    def fit_early(early: DataFrame, spec: CatchSpec) -> Estimates | Refusal:
        # Its search begins at these variances, and ends where the early days alone have it.
        return fit_catch(early, spec, None, found.estimates, warm_effects=False)

    validation = time_ordered_validation(club_frame.frame, spec, fit_early, seed)
    return Fitted(
        estimates=found.estimates,
        revision=club_frame.revision,
        fingerprint=club_frame.fingerprint,
        support=count_support(club_frame.frame),
        observed=observe(club_frame, found.estimates),
        spec=asdict(spec),
        versions={"python": platform.python_version()} | {name: metadata.version(name) for name in LIBRARIES},
        check_report=report_of(found.check, diagnosis, validation, club_frame),
        verdict=verdict_of(found.check, validation),
        warm_from=found.warm_from,
    )


def _earlier_fit(club: Club) -> tuple[FitRun, Estimates] | None:
    """The run that the club's answers come from, to begin from; None when there is none to read."""
    run = promoted_run(club=club)
    if run is None:
        return None
    try:
        return run, load_fit(run).estimates
    except DamagedFit as damage:
        logger.warning("fitting from nothing: %s", damage.message, extra={"run_uid": str(run.uid)})
        return None


def checked_fit(
    club_frame: ClubFrame, spec: CatchSpec, earlier: tuple[FitRun, Estimates] | None, tell: Tell
) -> CheckedFit | Refusal:
    """A fit, from an earlier one where there is one. Where that leads nowhere, or to a fit that does not
    describe the returns, it is begun again, from nothing: only then is what is found the returns' own."""
    if earlier is not None:
        run, warm = earlier
        found = _fit_and_check(club_frame, spec, warm, tell)
        if isinstance(found, CheckedFit) and misfit_of(found.check) is None:
            return replace(found, warm_from=run.uid)
        logger.info("fitting again from nothing", extra={"run_uid": str(run.uid)})
    return _fit_and_check(club_frame, spec, None, tell)


def _fit_and_check(
    club_frame: ClubFrame, spec: CatchSpec, warm: Estimates | None, tell: Tell
) -> CheckedFit | Refusal:
    def tell_step(done: int, _total: int, message: str) -> None:
        # 'iteration 7' without its figures.
        tell(1 + done, f"fitting: {message.partition(',')[0]}")

    found = fit_catch(club_frame.frame, spec, tell_step, warm)
    if isinstance(found, Refusal):
        return found
    tell(1 + spec.max_iterations, "checking")
    returns = usable_returns(club_frame.frame, spec)
    return CheckedFit(found, returns, check_fit(found, returns))


def _refuse(claim: jobs.Claim, now: datetime, refusal: Refusal, club_frame: ClubFrame) -> None:
    result: dict[str, Any] = {
        "revision": club_frame.revision,
        "fingerprint": club_frame.fingerprint,
        "rows_read": club_frame.returns,
        "outcomes": club_frame.outcomes(),
        "needed": refusal.needed,
    }
    jobs.refuse(claim=claim, now=now, code=refusal.code, reason=refusal.message, result=result)
