"""What each outcome is taken for, and how rows make sessions."""

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.returns import ESTIMATED, WEIGHED, Returns, coded, crossed, usable_returns
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from analytics.catchrate.terms import Coded
from tests.simulation.club import simulate_club


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(3, 300, pegs=12, anglers=12).frame


@pytest.fixture(scope="module")
def told(frame: pd.DataFrame) -> pd.DataFrame:
    """The first returns with every outcome that there is."""
    changed = frame.assign(bound_g=np.nan)
    changed.loc[0:4, ["outcome", "weight_g"]] = ["did_not_weigh", np.nan]
    changed.loc[4, "bound_g"] = 900.0
    changed.loc[5:6, ["outcome", "weight_g"]] = ["counted_only", np.nan]
    changed.loc[7, "outcome"] = "did_not_fish"
    changed.loc[8:10, ["outcome", "weight_g", "bound_g"]] = ["over_net_limit", 25_000.0, 25_000.0]
    changed.loc[11, "hours"] = 0.0
    changed.loc[12, "hours"] = np.nan
    changed.loc[13, ["weight_g", "outcome"]] = [np.nan, "weighed"]
    changed.loc[14, ["weight_g", "outcome"]] = [np.nan, "blank"]
    changed.loc[15, ["weight_g", "outcome"]] = [2268.0, "estimated"]
    return changed


def at(returns: Returns, position: int) -> tuple[float, float, float]:
    """Weight and both bounds of the return in a row of the frame."""
    (place,) = np.flatnonzero(returns.position == position)
    return returns.weight_g[place], returns.lower_g[place], returns.upper_g[place]


def test_returns_without_a_known_weight_or_effort_are_left_out_by_reason(told: pd.DataFrame) -> None:
    returns = usable_returns(told, CatchSpec(at_least=False))
    assert returns.left_out == {
        "counted_only": 2,
        "did_not_fish": 1,
        "did_not_weigh": 5,
        "effort_not_known": 2,
        "over_net_limit": 3,
        "weight_not_known": 1,
    }
    assert len(returns.weight_g) == 300 - 14
    assert not returns.bounded.any()


def test_a_blank_is_a_zero_and_an_estimate_a_weight_with_its_own_dispersion(told: pd.DataFrame) -> None:
    returns = usable_returns(told)
    assert at(returns, 14)[0] == 0.0
    assert at(returns, 15)[0] == 2268.0
    assert (returns.dispersion_class == ESTIMATED).sum() == 1
    assert returns.dispersion_class[returns.position == 16] == WEIGHED


def test_over_the_net_limit_is_at_least_the_limit_and_counted_only_more_than_nothing(
    told: pd.DataFrame,
) -> None:
    returns = usable_returns(told)
    assert at(returns, 8) == (25_000.0, 25_000.0, np.inf)
    assert at(returns, 5) == (0.0, 0.0, np.inf)
    without_bound = usable_returns(told.drop(columns="bound_g"))
    assert at(without_bound, 8) == (25_000.0, 25_000.0, np.inf)


def test_did_not_weigh_is_taken_three_ways(told: pd.DataFrame) -> None:
    left_out, zero, censored = (usable_returns(told, CatchSpec(did_not_weigh=way)) for way in DidNotWeigh)
    assert not np.isin(range(5), left_out.position).any()
    weight, lower, _ = at(zero, 0)
    assert (weight, np.isnan(lower)) == (0.0, True)
    # The stated bound, or else what is usual on that water.
    assert at(censored, 4) == (0.0, 0.0, 900.0)
    known = told["outcome"].isin(["weighed", "estimated"]) & (told["weight_g"] > 0)
    usual = told.loc[known & (told["water"] == told.loc[0, "water"]), "weight_g"].median()
    assert at(censored, 0) == (0.0, 0.0, usual)


def test_the_rows_of_a_session_are_its_parts_and_sessions_of_one_come_first(frame: pd.DataFrame) -> None:
    session = np.arange(300)
    session[[20, 40]] = 7
    session[41] = 8
    rows = frame.assign(session=session)
    returns = usable_returns(rows)
    assert len(returns.weight_g) == 300 - 3
    assert len(returns.hours) == 300
    assert list(returns.position[-2:]) == [7, 8]
    np.testing.assert_array_equal(returns.session, np.concatenate([np.arange(295), [295] * 3, [296] * 2]))
    np.testing.assert_array_equal(returns.hours[-5:], frame["hours"][[7, 20, 40, 8, 41]])
    baits = returns.features["hook_bait"].words()[-5:]
    assert [bait or "none" for bait in baits] == [
        frame["hook_bait"].fillna("none")[row] for row in (7, 20, 40, 8, 41)
    ]


def test_without_sharing_the_longest_part_stands_for_the_whole_session(frame: pd.DataFrame) -> None:
    session = np.arange(300)
    session[40] = 7
    hours = frame["hours"].copy()
    hours[[7, 40]] = [1.5, 4.0]
    baits = frame["hook_bait"].copy()
    baits[[7, 40]] = ["corn", "worm"]
    returns = usable_returns(
        frame.assign(session=session, hours=hours, hook_bait=baits), CatchSpec(share_parts=False)
    )
    assert returns.session is None
    (place,) = np.flatnonzero(returns.position == 40)
    assert returns.hours[place] == 5.5
    assert returns.features["hook_bait"].words()[place] == "worm"
    assert 7 not in returns.position


def test_effort_is_that_of_all_parts_together(frame: pd.DataFrame) -> None:
    session = np.arange(300)
    session[40] = 7
    hours = frame["hours"].copy()
    hours[40] = np.nan
    returns = usable_returns(frame.assign(session=session, hours=hours))
    assert returns.left_out == {"effort_not_known": 1}
    assert 7 not in returns.position


def test_a_missing_water_temperature_takes_its_months_mean(frame: pd.DataFrame) -> None:
    returns = usable_returns(frame)
    month = frame["fished_on"].dt.month
    absent = frame["water_temperature_c"].isna().to_numpy()
    assert absent.any()
    means = frame["water_temperature_c"].groupby(month).mean()
    np.testing.assert_allclose(
        returns.features["water_temperature_c"][absent], means[month[absent]].to_numpy()
    )
    missing = returns.features["water_temperature_missing"].words() == "missing"
    np.testing.assert_array_equal(missing, absent)


def test_dates_give_month_day_and_year(frame: pd.DataFrame) -> None:
    returns = usable_returns(frame)
    dates = frame["fished_on"].dt
    np.testing.assert_array_equal(returns.features["day_of_year"], dates.day_of_year)
    assert list(returns.features["month"].words()) == [f"{month:02d}" for month in dates.month]
    assert list(returns.features["year"].words()) == [str(year) for year in dates.year]
    assert (returns.first, returns.last) == (dates.date.min(), dates.date.max())


def test_wind_comes_as_forces_or_as_their_classes(frame: pd.DataFrame) -> None:
    forces = usable_returns(frame).features["wind"].words()
    assert set(forces) == {"0-1", "2-3", "4-5", "6+", "unknown"}
    as_words = usable_returns(frame.assign(wind_force=forces)).features["wind"].words()
    np.testing.assert_array_equal(as_words, forces)


def test_words_and_categories_are_coded_alike() -> None:
    column = pd.Series(["roach", None, "bream", "roach"], dtype=object)
    for given in (column, column.astype("category")):
        found = coded(given)
        assert list(found.words()) == ["roach", None, "bream", "roach"]
        np.testing.assert_array_equal(found.counts(), [1, 2])


def test_a_crossing_is_recorded_where_both_are() -> None:
    left = Coded(np.array([0, 1, -1, 1], dtype=np.int32), ("a", "b"))
    right = Coded(np.array([1, 0, 0, -1], dtype=np.int32), ("x", "y"))
    assert list(crossed(left, right).words()) == ["a/y", "b/x", None, None]
