"""The invented club is what its docstrings say: checked over many clubs, each property by its own test.

The numbers are those of the truth that the catch model is judged by; they have no outside source.
"""

import numpy as np
import pandas as pd
import pytest

from tests.simulation.club import SimulatedClub, simulate_club
from tests.simulation.seeds import SEEDS
from tests.simulation.truth import (
    BANK_CORRELATION,
    DISPERSION_KG,
    POWER,
    best_distance_m,
    conditions_effect,
    draw_tweedie,
)

MIDSUMMER, MIDWINTER = 200.0, 200.0 + 365.25 / 2


@pytest.fixture(scope="module")
def clubs() -> list[SimulatedClub]:
    return [simulate_club(seed) for seed in SEEDS]


def stacked(clubs: list[SimulatedClub], name: str) -> np.ndarray:
    return np.array([getattr(club.truth, name) for club in clubs])


def test_a_hundred_clubs_are_declared() -> None:
    assert len(set(SEEDS)) == 100


def test_the_same_seed_gives_the_same_club() -> None:
    one, other = simulate_club(4, 200), simulate_club(4, 200)
    pd.testing.assert_frame_equal(one.frame, other.frame)
    assert not one.frame.equals(simulate_club(5, 200).frame)


def test_five_hours_have_a_median_of_three_kilograms(clubs: list[SimulatedClub]) -> None:
    medians = [club.frame.loc[club.frame["hours"] == 5, "weight_g"].median() for club in clubs]
    assert np.mean(medians) == pytest.approx(3000, rel=0.05)


def test_seven_or_eight_returns_in_a_hundred_are_blanks(clubs: list[SimulatedClub]) -> None:
    shares = [(club.frame["weight_g"] == 0).mean() for club in clubs]
    assert 0.07 <= np.mean(shares) <= 0.08


def test_weights_are_told_to_ten_grams(clubs: list[SimulatedClub]) -> None:
    assert (clubs[0].frame["weight_g"] % 10 == 0).all()


@pytest.mark.parametrize(
    ("name", "expected"), [("peg", 0.35), ("angler", 0.45), ("rig", 0.15), ("water", 0.35), ("bait", 0.25)]
)
def test_effects_have_the_stated_spread(clubs: list[SimulatedClub], name: str, expected: float) -> None:
    effects = stacked(clubs, name)
    # Four standard errors of a standard deviation; neighbouring pegs make fewer independent ones.
    independent = effects.size * ((1 - 0.36) / (1 + 0.36) if name == "peg" else 1.0)
    assert effects.std() == pytest.approx(expected, rel=4 / np.sqrt(2 * independent))


def test_neighbouring_pegs_are_alike(clubs: list[SimulatedClub]) -> None:
    pegs = stacked(clubs, "peg")[:, :30]
    found = np.corrcoef(pegs[:, :-1].ravel(), pegs[:, 1:].ravel())[0, 1]
    assert found == pytest.approx(BANK_CORRELATION, abs=0.06)


def test_each_bait_has_a_year_of_its_own(clubs: list[SimulatedClub]) -> None:
    own = stacked(clubs, "bait_month") - stacked(clubs, "bait")[:, :, None]
    assert own.std() == pytest.approx(np.hypot(0.28, 0.06), rel=0.08)
    wave = np.exp(-2j * np.pi * np.arange(12) / 12)
    swing = 2 / 12 * np.real((own @ wave)[:, :, None] * np.conj(wave))
    assert (own - swing).std() == pytest.approx(0.06 * np.sqrt(10 / 12), rel=0.08)


def test_the_best_distance_moves_out_in_winter() -> None:
    distance = np.arange(3, 14.75, 0.25)
    found = [distance[np.argmax(conditions_effect(day, distance, 11.0, 2))] for day in (MIDSUMMER, MIDWINTER)]
    assert found == [6.0, 11.0]
    assert best_distance_m(MIDSUMMER) == pytest.approx(6)
    off = conditions_effect(MIDSUMMER, np.array([6.0, 12.0]), 17, 2)
    assert off[0] - off[1] == pytest.approx(0.5)


def test_season_temperature_and_wind_have_the_stated_effects() -> None:
    summer, winter = (conditions_effect(day, best_distance_m(day), 17, 2) for day in (MIDSUMMER, MIDWINTER))
    assert summer - winter == pytest.approx(1.2)
    assert summer == pytest.approx(0.60 + 0.12)
    assert summer - conditions_effect(MIDSUMMER, 6, 7, 2) == pytest.approx(0.45)
    assert summer - conditions_effect(MIDSUMMER, 6, 17, 6) == pytest.approx(0.25)


def test_drawn_weights_have_the_mean_variance_and_blanks_of_the_family() -> None:
    """Jørgensen 1987, J. R. Stat. Soc. B 49:127: variance phi mu^p, P(0) = exp(-mu^(2-p) / (phi (2-p)))."""
    draws = 400_000
    weight = draw_tweedie(np.random.default_rng(1), np.full(draws, 3.0), DISPERSION_KG)
    variance = DISPERSION_KG * 3.0**POWER
    assert weight.mean() == pytest.approx(3.0, abs=4 * np.sqrt(variance / draws))
    assert weight.var() == pytest.approx(variance, rel=0.02)
    blank = np.exp(-(3.0 ** (2 - POWER)) / (DISPERSION_KG * (2 - POWER)))
    assert (weight == 0).mean() == pytest.approx(blank, abs=4 * np.sqrt(blank / draws))


def test_half_the_returns_are_matches_with_one_drawn_peg_and_one_angler_each(
    clubs: list[SimulatedClub],
) -> None:
    frame = clubs[0].frame
    matches = frame[frame["is_match"]]
    assert len(matches) == len(frame) // 2
    assert frame["match_day"].notna().equals(frame["is_match"])
    assert not matches.duplicated(["match_day", "peg"]).any()
    assert not matches.duplicated(["match_day", "angler"]).any()
    for column in ("water", "fished_on", "hours"):
        assert (matches.groupby("match_day")[column].nunique() == 1).all()
    assert (matches["hours"] == 5).all()
    assert frame.loc[~frame["is_match"], "hours"].between(1.5, 12).all()


def correlation_of_skill(club: SimulatedClub, *, is_match: bool) -> float:
    rows = club.frame[club.frame["is_match"] == is_match]
    skill, peg = (rows[name].str[-2:].astype(int) for name in ("angler", "peg"))
    return float(np.corrcoef(club.truth.angler[skill], club.truth.peg[peg])[0, 1])


def test_better_anglers_find_better_pegs_unless_they_are_drawn(clubs: list[SimulatedClub]) -> None:
    drawn = [correlation_of_skill(club, is_match=True) for club in clubs]
    chosen = [correlation_of_skill(club, is_match=False) for club in clubs]
    assert abs(np.mean(drawn)) < 0.02
    assert np.mean(chosen) > 0.10


def test_bait_follows_habit_skill_and_season(clubs: list[SimulatedClub]) -> None:
    shares, gains, skilled = [], [], []
    for club in clubs:
        rows = club.frame.dropna(subset=["hook_bait"])
        counts = rows.groupby("angler")["hook_bait"].value_counts(normalize=True).unstack(fill_value=0)
        shares.append(counts.max(axis=1).mean())
        bait = counts.columns.get_indexer(rows["hook_bait"])
        month = club.truth.bait_month - club.truth.bait_month.mean(axis=0)
        gain = month[bait, rows["fished_on"].dt.month - 1]
        gains.append(gain.mean())
        skilled.append(np.corrcoef(gain, club.truth.angler[rows["angler"].str[-2:].astype(int)])[0, 1])
    assert np.mean(shares) > 0.30
    assert np.mean(gains) > 0.10
    assert np.mean(skilled) > 0.05


def test_covariates_are_missing_as_stated(clubs: list[SimulatedClub]) -> None:
    found = np.mean([club.frame.isna().mean() for club in clubs], axis=0)
    named = dict(zip(clubs[0].frame.columns, found, strict=True))
    expected = {"hook_bait": 0.04, "rig_type": 0.04, "distance_m": 0.04}
    expected |= {"wind_force": 0.05, "water_temperature_c": 0.10, "match_day": 0.5}
    assert {name: share for name, share in named.items() if share} == pytest.approx(expected, abs=0.003)
