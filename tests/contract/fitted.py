"""A small club with enough invented returns for a fit to come out, and the fit."""

import random
from datetime import date, timedelta
from decimal import Decimal

from django.utils import timezone

from analytics.requests import request_fit
from analytics.runs import run_fit
from clubdata.models import Job, JobState, Outcome
from clubdata.services import jobs
from tests.contract.routes import StockedClub, stock
from tests.factories import NOW, SmallClub, make_return
from tests.simulation.once import fitted_once, steady_ids

RETURNS = 400
FIRST_DAY = date(2022, 1, 1)


def fish_for_two_years(small: SmallClub, *, returns: int = RETURNS) -> None:
    """Invented sessions: casters do half as well again as maggots, and every tenth session is a blank."""
    with steady_ids(f"{small.club.slug}'s returns"):
        _fish(small, returns)
    small.club.raise_revision()


def _fish(small: SmallClub, returns: int) -> None:
    rng = random.Random(20240615)
    labels = [label for label in small.pegs if label != "5"]
    people = [small.member, small.other_member, small.organiser, small.analyst]
    for number in range(returns):
        bait = rng.choice([small.caster, small.red_maggot])
        expected_g = 3000 if bait == small.caster else 2000
        blank = number % 10 == 0
        weight_g = None if blank else max(50, round(rng.gammavariate(2.0, expected_g / 2)))
        changes = (
            {"outcome": Outcome.BLANK} if blank else {"weight_g": weight_g, "weight_typed": f"{weight_g} g"}
        )
        make_return(
            rng.choice(people),
            small.pegs[rng.choice(labels)],
            fished_on=FIRST_DAY + timedelta(days=rng.randrange(730)),
            part={
                "hook_bait": bait,
                "rig_type": rng.choice([small.tapered, small.bulk]),
                "distance_m": Decimal(rng.randrange(10, 28)) / 2,
            },
            **changes,
        )


def fit(small: SmallClub) -> Job:
    """Fit the club in this process."""
    job = request_fit(club=small.club, actor=None, now=NOW)
    claim = jobs.claim(job_id=job.pk, now=timezone.now())
    assert claim is not None
    with fitted_once():
        run_fit(claim=claim, clock=timezone.now)
    job.refresh_from_db()
    assert job.state == JobState.FINISHED, (job.reason_code, job.reason)
    return job


def stock_and_fit(small: SmallClub) -> StockedClub:
    """A club in which every route has its fullest answer."""
    fish_for_two_years(small)
    stocked = stock(small)
    stocked.fit.delete()
    fitted = fit(small)
    return StockedClub(small, stocked.session, stocked.job, fitted)
