from dataclasses import replace

import pandas as pd
import pytest

from analytics.catchrate import did_not_weigh
from analytics.catchrate.did_not_weigh import Change, DidNotWeighComparison, compare_did_not_weigh
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder

LEFT_OUT, AS_ZERO, CENSORED = DidNotWeigh.LEFT_OUT, DidNotWeigh.AS_ZERO, DidNotWeigh.CENSORED


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    harder = Harder(did_not_weigh_share=0.7, poor_bag_g=2000.0, two_part_share=0.2)
    return simulate_club(4, 1200, pegs=20, anglers=20, harder=harder).frame


@pytest.fixture(scope="module")
def comparison(frame: pd.DataFrame) -> DidNotWeighComparison:
    found = compare_did_not_weigh(frame)
    assert isinstance(found, DidNotWeighComparison)
    return found


def test_a_session_of_two_parts_counts_once(frame: pd.DataFrame, comparison: DidNotWeighComparison) -> None:
    unweighed = frame.drop_duplicates("session")["outcome"] == "did_not_weigh"
    assert comparison.sessions == unweighed.sum() > 100
    assert (frame["outcome"] == "did_not_weigh").sum() > comparison.sessions


def test_poor_bags_left_out_flatter_the_club_and_taken_for_blanks_slander_it(
    comparison: DidNotWeighComparison,
) -> None:
    assert comparison.did_not_weigh == LEFT_OUT.value
    ways = {item.did_not_weigh: item for item in comparison.others}
    assert set(ways) == {AS_ZERO.value, CENSORED.value}
    as_zero, censored = ways[AS_ZERO.value].intercept, ways[CENSORED.value].intercept
    assert as_zero is not None and censored is not None
    assert as_zero.other < censored.other < censored.estimate == as_zero.estimate
    assert censored.standard_errors < -1


def test_the_change_named_is_the_largest_between_two_fits_from_nothing(frame: pd.DataFrame) -> None:
    # Where season and distance cross, the variances have two optima, and a start decides between them.
    spec = CatchSpec().without("season_distance")
    comparison = compare_did_not_weigh(frame, spec)
    assert isinstance(comparison, DidNotWeighComparison)
    own, other = (fit_catch(frame, replace(spec, did_not_weigh=way)) for way in (LEFT_OUT, CENSORED))
    assert isinstance(own, Estimates) and isinstance(other, Estimates)
    for name in ("peg", "hook_bait"):
        before, after = own.term(name), other.term(name)
        assert before is not None and after is not None
        effects = after.effects()
        changes = {
            level: (effects[level][0] - value) / error for level, (value, error) in before.effects().items()
        }
        largest = max(changes, key=lambda level: abs(changes[level]))
        change = getattr(comparison.others[1], name)
        assert isinstance(change, Change)
        assert (change.term, change.level) == (name, largest)
        assert change.standard_errors == pytest.approx(changes[largest], abs=1e-3)


def test_any_way_can_be_the_one_compared_with(frame: pd.DataFrame) -> None:
    spec = CatchSpec(did_not_weigh=CENSORED).without("peg", "hook_bait_month", "season_distance")
    found = compare_did_not_weigh(frame, spec)
    assert isinstance(found, DidNotWeighComparison)
    assert [item.did_not_weigh for item in found.others] == [LEFT_OUT.value, AS_ZERO.value]
    assert all(item.peg is None and item.hook_bait is not None for item in found.others)


def test_nothing_is_compared_where_everyone_weighed(frame: pd.DataFrame) -> None:
    found = compare_did_not_weigh(frame[frame["outcome"] != "did_not_weigh"])
    assert isinstance(found, Refusal) and found.code == "nothing_to_compare"


def test_a_refused_fit_is_passed_on_and_one_way_that_is_refused_says_so(
    frame: pd.DataFrame, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = compare_did_not_weigh(frame.iloc[:40])
    assert isinstance(first, Refusal) and first.code == "too_few_returns"

    def refuses_zeros(rows: pd.DataFrame, spec: CatchSpec, **rest: Estimates) -> Estimates | Refusal:
        if spec.did_not_weigh is AS_ZERO:
            return Refusal("not_converged", "no maximum found")
        return fit_catch(rows, spec, **rest)

    monkeypatch.setattr(did_not_weigh, "fit_catch", refuses_zeros)
    found = compare_did_not_weigh(frame, CatchSpec().without("peg", "hook_bait_month", "season_distance"))
    assert isinstance(found, DidNotWeighComparison)
    refused, fine = found.others
    assert refused.refusal is not None and refused.refusal.code == "not_converged"
    assert refused.intercept is None and fine.intercept is not None
