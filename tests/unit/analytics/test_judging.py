"""New returns held against the fit that serves: what lies far out is asked about and in no fit meanwhile."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import numpy as np
import pytest
from django.db import transaction

from analytics.answers.doubt_effect import effect_of
from analytics.answers.past_returns import KNOWN
from analytics.catches import read_catch_lines
from analytics.catchrate.fitted import first_parts
from analytics.catchrate.forecast import forecast
from analytics.catchrate.returns import usable_returns
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.tails import predictive_of, two_sided
from analytics.frames import load_frame
from analytics.judging import RARE, judge_unseen
from analytics.requests import request_fit
from analytics.rows import WAITS
from analytics.store import load_fit, served_run
from clubdata.models import CatchLine, Doubt, DoubtState, Outcome, Return
from clubdata.services import jobs
from clubdata.services.doubts import take
from clubdata.services.members import membership
from tests.contract.fitted import fish_for_two_years, fit
from tests.factories import NOW, SmallClub, make_return
from tests.modules import small_club_of_a_module

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture(scope="module")
def club_of_module(django_db_setup: None, django_db_blocker: Any) -> Iterator[SmallClub]:
    with small_club_of_a_module(django_db_blocker) as small:
        fish_for_two_years(small)
        fit(small)
        # Its own returns are looked at, as the next fit does.
        judge(small)
        Doubt.objects.all().delete()
        yield small


@pytest.fixture
def club(club_of_module: SmallClub, db: None) -> SmallClub:
    return club_of_module


def judge(small: SmallClub) -> int:
    run = served_run(club=small.club)
    assert run is not None
    job = request_fit(club=small.club, actor=None, now=NOW)
    claim = jobs.claim(job_id=job.pk, now=NOW)
    assert claim is not None
    raised = judge_unseen(claim=claim, club=small.club, estimates=load_fit(run).estimates, now=NOW)
    jobs.finish(claim=claim, now=NOW, result={})
    return raised


def fish(small: SmallClub, weight_g: int, **values: Any) -> Return:
    part = {"hook_bait": small.caster, "rig_type": small.tapered, "distance_m": "11"}
    weighed = {"weight_g": weight_g, "weight_typed": f"{weight_g} g"}
    made = make_return(
        small.member, small.pegs["3"], fished_on=date(2023, 7, 1), part=part, **weighed, **values
    )
    small.club.raise_revision()
    return made


def outcome_in_frame(session: Return) -> tuple[str, float, float]:
    club_frame = load_frame(club=session.club)
    (row,) = [
        row
        for row in club_frame.frame.itertuples()
        if club_frame.uid(int(row.session)) == session.uid  # type: ignore[arg-type]
    ]
    return str(row.outcome), float(row.weight_g), float(row.bound_g)  # type: ignore[arg-type]


def test_a_pound_typed_as_a_hundredweight_is_asked_about_and_a_good_day_is_not(club: SmallClub) -> None:
    odd, good = fish(club, 150_000), fish(club, 9_000)
    assert judge(club) == 1
    doubt = Doubt.objects.get()
    assert (doubt.session, doubt.field, doubt.code, doubt.state) == (
        odd,
        "weight",
        "against_the_fit",
        "waiting",
    )
    assert doubt.sentence.startswith("Please check the figure: 150,000 g is far more than")
    assert "unlikely" not in doubt.sentence.casefold()
    facts = doubt.facts
    assert facts["lower_g"] < facts["expected_g"] < facts["upper_g"] < facts["weight_g"] == 150_000
    assert outcome_in_frame(good) == ("weighed", 9_000.0, pytest.approx(np.nan, nan_ok=True))


def test_what_waits_is_in_no_frame_with_its_weight_and_is_again_when_it_is_taken(club: SmallClub) -> None:
    odd = fish(club, 150_000)
    CatchLine.objects.create(club=club.club, session=odd, species=club.roach, weight_g=150_000)
    fresh = load_frame(club=club.club).fingerprint
    judge(club)
    outcome, weight_g, bound_g = outcome_in_frame(odd)
    assert outcome == WAITS and np.isnan([weight_g, bound_g]).all()
    assert read_catch_lines(club_id=club.club.pk).empty
    assert load_frame(club=club.club).fingerprint != fresh
    who = membership(actor=club.account("secretary"), slug=club.club.slug)
    take(who=who, uid=Doubt.objects.get().uid, now=NOW, reason="a netted carp lake, seen by the bailiff")
    assert outcome_in_frame(odd)[:2] == ("weighed", 150_000.0)
    assert load_frame(club=club.club).fingerprint == fresh
    assert len(read_catch_lines(club_id=club.club.pk)) == 1


def test_each_version_is_held_against_a_fit_once(club: SmallClub) -> None:
    fish(club, 150_000)
    assert (judge(club), judge(club)) == (1, 0)
    Doubt.objects.update(state=DoubtState.TAKEN)
    assert judge(club) == 0, "what was taken is not asked again"
    Return.objects.filter(weight_g=150_000).update(version=2)
    Doubt.objects.update(state=DoubtState.CORRECTED)
    assert judge(club) == 1, "another version is another figure"


def test_a_worker_that_lost_its_job_raises_nothing(club: SmallClub) -> None:
    fish(club, 150_000)
    run = served_run(club=club.club)
    assert run is not None
    with pytest.raises(jobs.LeaseLost), transaction.atomic():
        judge_unseen(
            claim=jobs.Claim(job_id=0, attempt=1), club=club.club, estimates=load_fit(run).estimates, now=NOW
        )
    assert not Doubt.objects.exists()


@pytest.mark.parametrize(
    "weight", [{"outcome": Outcome.OVER_NET_LIMIT}, {"outcome": Outcome.DID_NOT_WEIGH, "weight_g": None}]
)
def test_a_weight_that_is_not_known_exactly_is_not_judged(weight: dict[str, Any], club: SmallClub) -> None:
    made = fish(club, 150_000)
    if weight["outcome"] == Outcome.DID_NOT_WEIGH:
        weight = {**weight, "weight_typed": "", "weight_unit": "", "weight_step": None}
    Return.objects.filter(pk=made.pk).update(**weight)
    assert judge(club) == 0


def test_the_next_fit_is_made_without_what_waits(club: SmallClub) -> None:
    before = served_run(club=club.club)
    assert before is not None
    fish(club, 150_000)
    fit(club)
    after = served_run(club=club.club)
    assert after is not None and after.pk != before.pk
    assert after.rows_used == before.rows_used
    assert Doubt.objects.filter(state="waiting").count() == 1


def test_tails_are_those_of_drawn_sessions(club: SmallClub) -> None:
    """Against 2,000 sessions drawn as forecasts are: another route from the same estimates to a weight."""
    run = served_run(club=club.club)
    assert run is not None
    estimates = load_fit(run).estimates
    returns = usable_returns(load_frame(club=club.club).frame, CatchSpec())
    drawn = forecast(estimates, returns, seed=5).draws_g
    predictive = predictive_of(estimates, returns)
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        weight_g = np.quantile(drawn, share, axis=-1)
        below = predictive.below(weight_g)
        # A forecast averages over the year, of which the tail is told: hence a twentieth, not a hundredth.
        assert np.mean(np.abs(below - share)[weight_g > 0]) < 0.05
    blanks = (drawn == 0).mean(axis=-1)
    assert np.abs(predictive.below(np.zeros(len(blanks))) - blanks).mean() < 0.03


def test_a_tail_is_uniform_over_what_the_club_weighed(club: SmallClub) -> None:
    """Of a thousand returns that the fit describes a tenth of a false question is to be expected."""
    run = served_run(club=club.club)
    assert run is not None
    estimates = load_fit(run).estimates
    returns = usable_returns(load_frame(club=club.club).frame, CatchSpec())
    assert len(first_parts(returns)) == len(returns.weight_g)
    exact = two_sided(predictive_of(estimates, returns), returns.weight_g, 1.1)
    assert (exact < 0.1).mean() == pytest.approx(0.1, abs=0.05)
    assert (exact < RARE).sum() == 0


def test_sparing_the_quadrature_changes_no_rare_tail(club: SmallClub) -> None:
    run = served_run(club=club.club)
    assert run is not None
    returns = usable_returns(load_frame(club=club.club).frame, CatchSpec())
    predictive = predictive_of(load_fit(run).estimates, returns)
    heavier = returns.weight_g * np.geomspace(1, 60, len(returns.weight_g))
    all_of_it, spared = two_sided(predictive, heavier, 1.1), two_sided(predictive, heavier, RARE)
    assert ((all_of_it < RARE) == (spared < RARE)).all() and (spared < RARE).any()
    assert spared[spared < 1.0] == pytest.approx(all_of_it[spared < 1.0])


def test_what_taking_it_changes_is_near_what_the_next_fit_finds(club: SmallClub) -> None:
    """One step, variances held, against a whole new fit with the return in it."""
    compared = []
    for weight_g in (200, 12_000, 30_000):
        with transaction.atomic():
            session = fish(club, weight_g)
            doubt = Doubt.objects.create(
                club=club.club, session=session, version=1, code="against_the_fit", raised_at=NOW, facts={}
            )
            steps = {move.of: np.log(move.after / move.before) for move in effect_of(doubt).moves}
            before = {move.of: move.before for move in effect_of(doubt).moves}
            Doubt.objects.filter(pk=doubt.pk).update(state=DoubtState.TAKEN)
            Return.objects.filter(pk=session.pk).update(looked_at_version=1)
            fit(club)
            # As the next fit has them: it holds the return, which the doubt's dates here do not tell.
            refit = {move.of: np.log(move.before / before[move.of]) for move in effect_of(doubt).moves}
            compared += [(weight_g, of, round(steps[of], 4), round(refit[of], 4)) for of in steps]
            transaction.set_rollback(True)
    for weight_g, of, step, found in compared:
        if abs(found) < 0.01:
            continue
        assert np.sign(step) == np.sign(found), compared
        # A weight of ten times what is expected changes the variances, too, which the step holds.
        assert weight_g == 30_000 or abs(step - found) < 0.6 * abs(found), (of, compared)


def test_known_outcomes_are_those_a_fit_takes_exactly() -> None:
    assert Outcome.WEIGHED in KNOWN and Outcome.OVER_NET_LIMIT not in KNOWN
