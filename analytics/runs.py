"""Load, fit, check, store, promote: a claimed job from the club's returns to numbers that answers read."""

import platform
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from importlib import metadata
from typing import Any

from analytics.catchrate.check import Check, check_fit
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.spec import CatchSpec
from analytics.frames import ClubFrame, count_support, load_frame, longest_part
from analytics.requests import fit_stale_clubs, request_fit
from analytics.store import Fitted, job_of, store_fit
from clubdata.services import jobs

__all__ = ["fit_stale_clubs", "request_fit", "run_fit"]

Clock = Callable[[], datetime]
#: Called with (done, total, step).
Progress = Callable[[int, int, str], None]

LIBRARIES = ("django", "numpy", "pandas", "scipy", "statsmodels")

#: A fit whose share of blanks is further than this from the share that was found describes another club.
LARGEST_BLANK_GAP = 0.15


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
    club_frame = load_frame(club=job_of(claim).club)
    sessions = longest_part(club_frame.frame)
    found = fit_catch(sessions, spec, lambda done, _, __: tell(1 + done, "fitting"))
    if isinstance(found, Refusal):
        _refuse(claim, clock(), found, club_frame)
        return
    tell(total - 2, "checking")
    check = check_fit(found, sessions)
    refusal = refusal_of(check)
    if refusal is not None:
        _refuse(claim, clock(), refusal, club_frame)
        return
    tell(total - 1, "storing")
    store_fit(claim=claim, now=clock(), fitted=_fitted(found, spec, check, club_frame))
    if progress is not None:
        progress(total, total, "done")


def refusal_of(check: Check) -> Refusal | None:
    """Why a fit that came out is not served all the same, or None when it is good enough to serve."""
    if not check.deviance_explained > 0:
        return Refusal("no_gain", "The fit says no more than each water's mean catch rate does.")
    if not abs(check.blank_share_observed - check.blank_share_fitted) <= LARGEST_BLANK_GAP:
        found, fitted = check.blank_share_observed, check.blank_share_fitted
        return Refusal(
            "blanks_not_described",
            f"{found:.0%} of the returns are blanks where the fit expects {fitted:.0%}.",
        )
    return None


def _refuse(claim: jobs.Claim, now: datetime, refusal: Refusal, club_frame: ClubFrame) -> None:
    result: dict[str, Any] = {
        "revision": club_frame.revision,
        "fingerprint": club_frame.fingerprint,
        "rows_read": club_frame.returns,
        "outcomes": club_frame.outcomes(),
        "needed": refusal.needed,
    }
    jobs.refuse(claim=claim, now=now, code=refusal.code, reason=refusal.message, result=result)


def _fitted(estimates: Estimates, spec: CatchSpec, check: Check, club_frame: ClubFrame) -> Fitted:
    return Fitted(
        estimates=estimates,
        revision=club_frame.revision,
        fingerprint=club_frame.fingerprint,
        support=count_support(longest_part(club_frame.frame)),
        spec=asdict(spec),
        versions={"python": platform.python_version()} | {name: metadata.version(name) for name in LIBRARIES},
        check_report=asdict(check),
    )
