"""Two pegs compared: both sides make one, and what cannot be compared says why."""

from datetime import date
from typing import Any

import numpy as np
import pytest

from analytics.answers.peg_form import PegFormQuestion, peg_form
from analytics.answers.peg_pair import Comparison, PegPair, peg_pair
from analytics.catchrate.standing import joint_draws
from analytics.store import load_fit, promoted_run
from clubdata.errors import InvalidInput
from clubdata.models import Peg, PegHazard
from tests.factories import make_pegs
from tests.unit.analytics.conftest import StoredClub

TODAY = date(2024, 6, 1)


def ask(stored: StoredClub, first: str, second: str, **values: Any) -> PegPair:
    water = stored.waters["water 0"].uid
    asked = {"sees_all": True, **values}
    return peg_pair(club=stored.club, water=water, first=first, second=second, today=TODAY, **asked)


def compared(stored: StoredClub, first: str, second: str) -> Comparison:
    found = ask(stored, first, second).comparison
    assert found is not None
    return found


def test_the_chances_of_both_sides_make_one_and_the_ratio_turns_round(fitted_club: StoredClub) -> None:
    for first, second in (("peg 01", "peg 02"), ("peg 00", "peg 05")):
        there, back = compared(fitted_club, first, second), compared(fitted_club, second, first)
        assert there.chance_first_better + there.chance_second_better == pytest.approx(1.0)
        assert back.chance_first_better == pytest.approx(there.chance_second_better)
        assert back.ratio == pytest.approx(1 / there.ratio)
        assert (back.lower_90, back.upper_50) == pytest.approx((1 / there.upper_90, 1 / there.lower_50))
        assert there.in_words == back.in_words


def test_the_ratio_is_that_of_the_multipliers(fitted_club: StoredClub) -> None:
    question = PegFormQuestion(water=fitted_club.waters["water 0"].uid)
    form = peg_form(club=fitted_club.club, question=question, today=TODAY, sees_all=True)
    by_label = {item.peg.label: item.standing.multiplier for item in form.pegs}
    found = compared(fitted_club, "peg 01", "peg 04")
    assert found.ratio == pytest.approx(by_label["peg 01"] / by_label["peg 04"])


def test_the_chance_is_the_share_of_joint_draws(fitted_club: StoredClub) -> None:
    run = promoted_run(club=fitted_club.club)
    assert run is not None
    estimates = load_fit(run).estimates
    item = estimates.term("peg")
    assert item is not None and item.start is not None
    factor = estimates.covariance_factor
    size = len(item.estimates)
    rows = factor[item.start : item.start + size]
    draws = joint_draws(np.asarray(item.estimates), rows @ rows.T, 100_000, [8])
    places = {level: place for place, level in enumerate(item.term.coefficient_names)}
    one, two = (places[fitted_club.pegs[label].uid.hex] for label in ("peg 01", "peg 02"))
    share = float(np.mean(draws[:, one] > draws[:, two]))
    assert compared(fitted_club, "peg 01", "peg 02").chance_first_better == pytest.approx(share, abs=0.007)


def test_neighbours_are_told_apart_no_worse_than_their_own_intervals_suggest(fitted_club: StoredClub) -> None:
    """What two pegs share cancels: their ratio is surer than two unrelated effects of the same spread."""
    run = promoted_run(club=fitted_club.club)
    assert run is not None
    item = load_fit(run).estimates.term("peg")
    assert item is not None
    errors = [item.effects()[fitted_club.pegs[label].uid.hex][1] for label in ("peg 01", "peg 02")]
    found = compared(fitted_club, "peg 01", "peg 02")
    width = np.log(found.upper_90 / found.lower_90)
    assert width < 2 * 1.645 * np.hypot(*errors)


def test_pegs_are_named_by_label_or_uid(fitted_club: StoredClub) -> None:
    peg = fitted_club.pegs["peg 02"]
    assert ask(fitted_club, "PEG 01", str(peg.uid)) == ask(fitted_club, "peg 01", "peg 02")


def test_a_peg_under_a_hazard_or_out_of_use_is_not_compared(fitted_club: StoredClub) -> None:
    PegHazard.objects.create(
        club=fitted_club.club, peg=fitted_club.pegs["peg 01"], kind="overhead power line", noted_on=TODAY
    )
    Peg.objects.filter(pk=fitted_club.pegs["peg 03"].pk).update(in_use=False)
    make_pegs(fitted_club.waters["water 0"], "99", bank="far")
    for first, second, code in (
        ("peg 01", "peg 02", "standing_hazard"),
        ("peg 02", "peg 01", "standing_hazard"),
        ("peg 02", "peg 03", "out_of_use"),
        ("99", "peg 02", "no_returns"),
    ):
        pair = ask(fitted_club, first, second)
        assert pair.no_answer is not None and pair.no_answer.code == code
        assert (pair.comparison, pair.first_record, pair.second_record) == (None, None, None)


def test_what_is_not_there_or_the_same_is_told_by_field(fitted_club: StoredClub) -> None:
    for first, second, field in (("peg 77", "peg 01", "first"), ("peg 01", "peg 11", "second")):
        with pytest.raises(InvalidInput, match=r"^water 0 has no peg 'peg (77|11)'\.$") as absent:
            ask(fitted_club, first, second)
        assert absent.value.field == field
    with pytest.raises(InvalidInput) as same:
        ask(fitted_club, "peg 01", "peg 01")
    assert same.value.field == "second"


def test_evidence_of_both_stands_beside(fitted_club: StoredClub) -> None:
    pair = ask(fitted_club, "peg 01", "peg 02")
    rows = fitted_club.frame
    for record, label in ((pair.first_record, "peg 01"), (pair.second_record, "peg 02")):
        assert record is not None
        assert record.returns == (rows["peg"] == label).sum()
