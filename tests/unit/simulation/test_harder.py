"""Each way of making a club harder does what it says, and nothing else."""

import numpy as np
import pandas as pd
import pytest

from tests.simulation.club import simulate_club
from tests.simulation.harder import OUNCE_G, POUND_G, Harder

SEED = 11


def frame_of(harder: Harder, returns: int = 3000) -> pd.DataFrame:
    return simulate_club(SEED, returns, harder=harder).frame


def is_multiple(weight: pd.Series, unit: float) -> np.ndarray:
    return np.isclose(weight / unit, np.round(weight / unit), atol=1e-9)


@pytest.mark.parametrize("unit", [OUNCE_G, POUND_G])
def test_weights_are_told_in_the_unit_of_the_scales(unit: float) -> None:
    weight = frame_of(Harder(resolution_g=unit))["weight_g"]
    assert is_multiple(weight, unit).all()
    assert (weight > 0).any()


def test_the_pound_makes_blanks_of_small_bags() -> None:
    blank = [(frame_of(Harder(resolution_g=unit))["weight_g"] == 0).mean() for unit in (10.0, POUND_G)]
    assert blank[1] > blank[0]


def test_the_chosen_share_is_heaped_at_whole_pounds() -> None:
    weight = frame_of(Harder(heaped_share=0.4))["weight_g"]
    heavy = weight[weight > POUND_G]
    assert is_multiple(heavy, POUND_G).mean() == pytest.approx(0.4, abs=0.03)


def test_the_chosen_share_of_temperatures_is_missing() -> None:
    missing = frame_of(Harder(missing_temperature_share=0.6))["water_temperature_c"].isna()
    assert missing.mean() == pytest.approx(0.6, abs=0.03)


def test_pegs_drift_a_step_a_year_and_otherwise_stand_still() -> None:
    assert np.ptp(simulate_club(SEED, 300).truth.peg_by_year, axis=0).max() == 0
    peg = simulate_club(SEED, 300, pegs=400, years=6, harder=Harder(peg_drift_sd=0.2)).truth.peg_by_year
    assert np.diff(peg, axis=0).std() == pytest.approx(0.2, rel=0.05)


def test_anglers_learn_each_at_a_pace_of_their_own() -> None:
    assert np.ptp(simulate_club(SEED, 300).truth.angler_by_year, axis=0).max() == 0
    angler = simulate_club(SEED, 300, anglers=900, harder=Harder(learning_per_year=0.1)).truth.angler_by_year
    gains = np.diff(angler, axis=0)
    assert (gains >= 0).all()
    assert gains.mean() == pytest.approx(0.1, rel=0.1)
    assert gains[0].std() == pytest.approx(0.1, rel=0.2)


def test_learning_shows_in_the_weights() -> None:
    frame = frame_of(Harder(learning_per_year=0.4))
    by_year = frame.groupby(frame["fished_on"].dt.year)["weight_g"].mean()
    assert by_year.iloc[-1] > 1.3 * by_year.iloc[0]


def test_blanks_of_pleasure_sessions_are_not_handed_in() -> None:
    full, short = frame_of(Harder()), frame_of(Harder(blanks_not_handed_in_share=0.5))
    blanks = [(frame["outcome"] == "blank").groupby(frame["is_match"]).sum() for frame in (full, short)]
    assert blanks[0][True] == blanks[1][True]
    assert blanks[1][False] / blanks[0][False] == pytest.approx(0.5, abs=0.15)
    assert len(full) - len(short) == blanks[0][False] - blanks[1][False]


def test_the_chosen_share_of_poor_bags_is_not_weighed() -> None:
    plain, harder = frame_of(Harder()), frame_of(Harder(did_not_weigh_share=0.7, poor_bag_g=800.0))
    unweighed = harder["outcome"] == "did_not_weigh"
    poor = plain["weight_g"] <= 800
    assert unweighed.sum() / poor.sum() == pytest.approx(0.7, abs=0.05)
    assert harder.loc[unweighed, "weight_g"].isna().all()
    assert (harder.loc[unweighed, "bound_g"] == 800).all()
    assert harder.loc[~unweighed, "bound_g"].isna().all()
    assert plain.loc[unweighed, "weight_g"].max() <= 800


def test_weights_over_the_net_limit_are_at_least_the_limit() -> None:
    plain, harder = frame_of(Harder()), frame_of(Harder(net_limit_g=8000.0))
    over = harder["outcome"] == "over_net_limit"
    assert over.equals(plain["weight_g"] > 8000)
    assert (harder.loc[over, ["weight_g", "bound_g"]] == 8000).all(axis=None)
    assert harder["weight_g"].max() == 8000


def test_estimated_weights_scatter_more_about_the_same_mean() -> None:
    harder = Harder(estimated_share=0.8, estimated_dispersion_ratio=3.0)
    clubs = [simulate_club(seed, harder=harder).frame for seed in range(10)]
    plain = [simulate_club(seed).frame for seed in range(10)]
    spread = []
    for frames in (clubs, plain):
        rows = pd.concat(frames)
        rate = (rows["weight_g"] / rows["hours"])[~rows["is_match"]]
        spread.append((rate.mean(), rate.var()))
    assert spread[0][0] == pytest.approx(spread[1][0], rel=0.05)
    assert spread[0][1] > 1.2 * spread[1][1]
    told = pd.concat(clubs)
    pleasure = told[~told["is_match"] & (told["weight_g"] > 0)]
    assert 0.7 < (pleasure["outcome"] == "estimated").mean() < 0.85
    assert not (told["is_match"] & (told["outcome"] == "estimated")).any()


def test_two_parts_share_one_total_and_divide_the_hours() -> None:
    frame = frame_of(Harder(two_part_share=0.5, did_not_weigh_share=0.3))
    assert frame["session"].nunique() == 3000
    parts = frame.groupby("session")
    assert set(parts.size()) == {1, 2}
    pleasure = frame[~frame["is_match"]].groupby("session").size()
    assert (pleasure == 2).mean() == pytest.approx(0.5, abs=0.05)
    whole = ["weight_g", "bound_g", "outcome", "angler", "peg", "fished_on", "wind_force"]
    assert (parts[[*whole, "water_temperature_c"]].nunique(dropna=False) == 1).all(axis=None)
    hours = parts["hours"].sum()
    assert np.allclose(hours * 2, np.round(hours * 2))
    assert (parts["distance_m"].nunique() == 2).any()
    assert (parts["hook_bait"].nunique() == 2).any()


def test_the_total_of_two_parts_is_expected_to_be_that_of_one() -> None:
    """Parts divide the time, so the catch of the whole session does not double."""
    means = []
    for harder in (Harder(), Harder(two_part_share=1.0)):
        frames = [simulate_club(seed, harder=harder).frame for seed in range(10)]
        rows = [frame[~frame["is_match"]] for frame in frames]
        if harder.two_part_share:
            rows = [frame.drop_duplicates("session") for frame in rows]
        means.append(np.mean([frame["weight_g"].mean() for frame in rows]))
    assert means[1] == pytest.approx(means[0], rel=0.05)


@pytest.mark.parametrize(
    "wrong", [{"heaped_share": 1.2}, {"resolution_g": 0.0}, {"estimated_dispersion_ratio": -1.0}]
)
def test_a_share_beyond_one_and_a_unit_of_nothing_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must"):
        Harder(**wrong)
