import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.spec import CatchSpec
from tests.simulation.club import simulate_club


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(3, 300, pegs=12, anglers=12).frame


def learned(frame: pd.DataFrame) -> Design:
    design = learn_design(frame, CatchSpec())
    assert isinstance(design, Design)
    return design


def dropped(frame: pd.DataFrame) -> dict[str, str]:
    return {item.name: item.code for item in learned(frame).dropped}


def test_returns_without_a_known_weight_or_effort_are_left_out_by_reason(frame: pd.DataFrame) -> None:
    changed = frame.copy()
    changed.loc[0:4, "outcome"] = "did_not_weigh"
    changed.loc[5:6, "outcome"] = "counted_only"
    changed.loc[7, "outcome"] = "did_not_fish"
    changed.loc[8:10, "outcome"] = "over_net_limit"
    changed.loc[11, "hours"] = 0.0
    changed.loc[12, "hours"] = np.nan
    changed.loc[13, ["weight_g", "outcome"]] = [np.nan, "weighed"]
    returns = learned(changed).returns
    assert returns.left_out == {
        "counted_only": 2,
        "did_not_fish": 1,
        "did_not_weigh": 5,
        "effort_not_known": 2,
        "over_net_limit": 3,
        "weight_not_known": 1,
    }
    assert len(returns.weight_g) == 300 - 14


def test_a_blank_is_a_zero_and_an_estimate_a_weight(frame: pd.DataFrame) -> None:
    changed = frame.copy()
    changed.loc[0, ["weight_g", "outcome"]] = [np.nan, "blank"]
    changed.loc[1, ["weight_g", "outcome"]] = [2268.0, "estimated"]
    weight = learned(changed).returns.weight_g
    assert (weight[0], weight[1]) == (0.0, 2268.0)


def test_a_term_that_these_returns_cannot_speak_for_is_dropped_with_the_reason(frame: pd.DataFrame) -> None:
    assert dropped(frame) == {}
    assert dropped(frame.assign(peg="only", water="only")) == {"water": "one_level", "peg": "one_level"}
    assert dropped(frame.assign(hook_bait=None)) == {
        "hook_bait": "not_recorded",
        "hook_bait_month": "not_recorded",
    }
    assert dropped(frame.assign(hook_bait="maggot")) == {
        "hook_bait": "one_level",
        "hook_bait_month": "one_level",
    }
    assert dropped(frame.assign(water_temperature_c=np.nan)) == {
        "water_temperature": "not_recorded",
        "water_temperature_missing": "not_recorded",
    }
    assert dropped(frame.assign(is_match=False, match_day=None)) == {
        "session_kind": "one_level",
        "match_day": "not_recorded",
    }
    one_year = frame.assign(fished_on=frame["fished_on"].map(lambda day: day.replace(day=1, year=2020)))
    assert dropped(one_year) == {"year": "one_level"}


def test_a_missing_water_temperature_takes_its_months_mean(frame: pd.DataFrame) -> None:
    returns = learned(frame).returns
    month = frame["fished_on"].dt.month
    absent = frame["water_temperature_c"].isna().to_numpy()
    assert absent.any()
    means = frame["water_temperature_c"].groupby(month).mean()
    np.testing.assert_allclose(
        returns.features["water_temperature_c"][absent], means[month[absent]].to_numpy()
    )


def test_an_odd_far_cast_does_not_stretch_the_knots(frame: pd.DataFrame) -> None:
    changed = frame.copy()
    changed.loc[0, "distance_m"] = 150.0
    term = next(term for term, _ in learned(changed).terms if term.name == "distance")
    assert term.margins[0].upper < 20


def test_the_reference_year_is_the_last_with_returns_enough(frame: pd.DataFrame) -> None:
    assert learned(frame).reference.year == "2022"
    newest = frame.head(5).assign(fished_on=pd.Timestamp("2024-01-02"))
    assert learned(pd.concat([frame, newest], ignore_index=True)).reference.year == "2022"


def test_too_few_returns_are_refused_with_the_number_needed(frame: pd.DataFrame) -> None:
    refusal = fit_catch(frame.head(59))
    assert isinstance(refusal, Refusal)
    assert (refusal.code, refusal.needed) == ("too_few_returns", 60)
    assert "59" in refusal.message
    assert not isinstance(fit_catch(frame.head(60)), Refusal)
    assert isinstance(fit_catch(frame.head(0)), Refusal)


def test_nothing_but_blanks_is_refused(frame: pd.DataFrame) -> None:
    refusal = fit_catch(frame.assign(weight_g=0.0, outcome="blank"))
    assert isinstance(refusal, Refusal)
    assert refusal.code == "all_blank"


def test_a_fit_that_has_not_converged_is_refused(frame: pd.DataFrame) -> None:
    refusal = fit_catch(frame, CatchSpec(max_iterations=3))
    assert isinstance(refusal, Refusal)
    assert refusal.code == "not_converged"


def test_progress_is_told_to_the_end(frame: pd.DataFrame) -> None:
    told: list[tuple[int, int, str]] = []
    fit_catch(frame, progress=lambda *what: told.append(what))
    assert told[0][0] == 0
    assert [done for done, _, _ in told] == sorted(done for done, _, _ in told)
    assert told[-1][0] == told[-1][1]
