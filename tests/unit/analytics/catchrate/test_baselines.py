import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.genmod import families

from analytics.catchrate.baselines import GLM_FACTORS, peg_and_month_mean, plain_glm, water_mean
from analytics.catchrate.returns import Returns, usable_returns
from tests.simulation.club import simulate_club


def returns(frame: pd.DataFrame) -> Returns:
    return usable_returns(frame)


def small_frame(rows: list[tuple[str, str, str, float, float]]) -> pd.DataFrame:
    """Water, peg, day, hours and grams."""
    water, peg, day, hours, weight = zip(*rows, strict=True)
    return pd.DataFrame(
        {"water": water, "peg": peg, "fished_on": pd.to_datetime(day), "hours": hours, "weight_g": weight}
    ).assign(
        angler="a",
        hook_bait="maggot",
        rig_type="pole",
        match_day=None,
        wind_force=2.0,
        is_match=False,
        water_temperature_c=15.0,
        distance_m=8.0,
        outcome="weighed",
    )


TRAIN = small_frame(
    [
        ("pond", "1", "2024-06-01", 2.0, 1000.0),
        ("pond", "1", "2024-06-09", 4.0, 500.0),
        ("pond", "1", "2024-07-01", 2.0, 0.0),
        ("pond", "2", "2024-06-01", 2.0, 300.0),
        ("lake", "3", "2024-06-01", 5.0, 50.0),
    ]
)
TEST = small_frame(
    [
        ("pond", "1", "2025-06-01", 3.0, 0.0),
        ("pond", "1", "2025-07-01", 3.0, 0.0),
        ("pond", "9", "2025-06-01", 3.0, 0.0),
        ("river", "8", "2025-06-01", 3.0, 0.0),
    ]
)


def test_the_water_mean_is_its_total_weight_over_its_total_effort() -> None:
    mean, learned = water_mean(returns(TRAIN), returns(TEST))
    pond, all_waters = 1800.0 / 10.0, 1850.0 / 15.0
    assert mean == pytest.approx(np.array([pond, pond, pond, all_waters]) * 3.0)
    assert learned == 2


def test_the_peg_and_month_mean_falls_back_to_the_peg_then_the_water_then_all() -> None:
    mean, learned = peg_and_month_mean(returns(TRAIN), returns(TEST))
    expected = [1500.0 / 6.0, 1500.0 / 8.0, 1800.0 / 10.0, 1850.0 / 15.0]
    assert mean == pytest.approx(np.array(expected) * 3.0)
    assert learned == 4


def test_a_session_of_two_parts_counts_once_under_its_first_with_the_hours_of_both() -> None:
    again = TRAIN.assign(session=range(5))
    part = again.iloc[[4]].assign(session=0, hours=3.0, weight_g=1000.0)
    mean, _ = water_mean(returns(pd.concat([again, part])), returns(TEST))
    pond, all_waters = 1800.0 / 13.0, 1850.0 / 18.0
    assert mean == pytest.approx(np.array([pond, pond, pond, all_waters]) * 3.0)


def test_the_plain_glm_is_statsmodels() -> None:
    frame = simulate_club(4, 3000, pegs=12, anglers=20).frame
    train, test = returns(frame.iloc[:2500]), returns(frame.iloc[2500:])
    mean, learned = plain_glm(train, test, 1.5)

    def design(part: Returns) -> np.ndarray:
        columns = [np.ones(len(part.hours))]
        for name in GLM_FACTORS:
            levels = sorted({str(value) for value in train.features[name].words()})
            words = [str(value) for value in part.features[name].words()]
            columns += [np.array([word == level for word in words], float) for level in levels[1:]]
        return np.column_stack(columns)

    family = families.Tweedie(link=families.links.Log(), var_power=1.5)
    model = sm.GLM(train.weight_g, design(train), family=family, offset=np.log(train.hours))
    expected = model.fit(tol=1e-12).predict(design(test), offset=np.log(test.hours))
    # The ridge, a prior of thirty log units, moves a mean by less than a thousandth.
    assert mean == pytest.approx(expected, rel=1e-3)
    assert learned == design(train).shape[1]


def test_a_level_of_blanks_alone_leaves_the_plain_glm_finite() -> None:
    frame = simulate_club(5, 600, pegs=12, anglers=20).frame
    blank = frame.assign(weight_g=np.where(frame["peg"] == frame["peg"].iloc[0], 0.0, frame["weight_g"]))
    mean, _ = plain_glm(returns(blank), returns(blank), 1.5)
    assert np.isfinite(mean).all() and (mean > 0).all()
