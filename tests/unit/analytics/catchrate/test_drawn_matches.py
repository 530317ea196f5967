"""Simulated matches: laws of chances and places, and a second way to the same chances."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analytics.catchrate.drawn_matches import DrawnOutcomes, effective_number, places_of, simulate_matches
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.predict import Questions, expectation
from analytics.catchrate.spec import MATCH
from tests.simulation.club import simulate_club

PEGS = tuple(f"peg {number:02d}" for number in range(6))
MATCHES = 20_000


@pytest.fixture(scope="module")
def estimates() -> Estimates:
    found = fit_catch(simulate_club(5, 800, pegs=12, anglers=12).frame)
    assert isinstance(found, Estimates)
    return found


def simulated(estimates: Estimates, *, anglers: int = len(PEGS), seed: int = 1) -> DrawnOutcomes:
    asked = Questions(month=7, water="water 0", peg=list(PEGS), session_kind=MATCH, hours=5.0)
    return simulate_matches(estimates, asked, anglers=anglers, matches=MATCHES, seed=[seed])


def with_pegs(estimates: Estimates, effects: dict[str, float]) -> Estimates:
    """The same fit, its coefficients known without doubt, pegs as given and others at nought."""
    terms = tuple(
        replace(item, estimates=tuple(effects.get(level, 0.0) for level in item.term.coefficient_names))
        if item.name == "peg"
        else item
        for item in estimates.terms
    )
    return replace(estimates, terms=terms, covariance_factor=estimates.covariance_factor * 1e-9)


@pytest.mark.parametrize("anglers", [len(PEGS), 4, 2])
def test_one_angler_wins_and_places_add_up(estimates: Estimates, anglers: int) -> None:
    found = simulated(estimates, anglers=anglers)
    assert found.drawn.sum() == anglers * MATCHES
    assert found.win_shares.sum() == pytest.approx(1.0)
    shares = found.drawn / MATCHES
    assert (shares * found.place).sum() == pytest.approx(anglers * (anglers + 1) / 2)
    assert (shares * found.top_quarter).sum() == pytest.approx(-(-anglers // 4))
    assert_allclose(found.points, anglers + 1 - found.place)


def test_equal_pegs_win_equally_often(estimates: Estimates) -> None:
    found = simulated(with_pegs(estimates, {}))
    error = np.sqrt(1 / 6 * 5 / 6 / MATCHES)
    assert np.all(np.abs(found.wins - 1 / 6) < 4 * error)
    assert effective_number(found.win_shares) == pytest.approx(6.0, abs=0.01)


def test_a_better_peg_wins_more_and_leaves_the_draw_less_even(estimates: Estimates) -> None:
    even, uneven, worse = (simulated(with_pegs(estimates, {"peg 03": effect})) for effect in (0.0, 0.5, 1.0))
    assert even.wins[3] < uneven.wins[3] < worse.wins[3]
    numbers = [effective_number(found.win_shares) for found in (even, uneven, worse)]
    assert numbers[0] > numbers[1] > numbers[2]


def test_chances_are_those_of_a_match_fished_by_hand(estimates: Estimates) -> None:
    """Fish by fish: a Poisson number of them, each of a gamma weight, on a day that is one for all."""
    effects = np.array([0.6, 0.0, -0.4, 0.2, 0.0, -0.1])
    known = with_pegs(estimates, dict(zip(PEGS, effects, strict=True)))
    found = simulated(known)
    asked = Questions(month=7, water="water 0", peg=list(PEGS), session_kind=MATCH, hours=5.0)
    expected = expectation(known, asked)
    typical = expected.mean_g / expected.multipliers["averaging"]
    rng, p, phi = np.random.default_rng(99), known.power, known.dispersion
    day = known.term("match_day")
    assert day is not None
    wins, matches = np.zeros(6), 3000
    for _ in range(matches):
        means = typical * np.exp(rng.normal(0, day.prior_sd))
        fish = rng.poisson(means ** (2 - p) / (phi * (2 - p)))
        sizes = phi * (p - 1) * means ** (p - 1)
        bags = [
            rng.gamma((2 - p) / (p - 1), size, number).sum() for number, size in zip(fish, sizes, strict=True)
        ]
        best = np.flatnonzero(np.array(bags) == max(bags))
        wins[best] += 1 / len(best)
    error = np.sqrt(wins / matches * (1 - wins / matches) * (1 / matches + 1 / MATCHES))
    assert np.all(np.abs(wins / matches - found.wins) < 4 * error)


def test_a_day_that_is_good_for_all_changes_no_place() -> None:
    rng = np.random.default_rng(2)
    weights = rng.gamma(2.0, 1000.0, (500, 5))
    day = rng.lognormal(0, 1, (500, 1))
    ours, again = (places_of(np.random.default_rng(3), item, 5) for item in (weights, weights * day))
    assert np.array_equal(ours.place, again.place)


def test_blanks_share_the_places_that_they_take_together() -> None:
    weights = np.tile([2000.0, 0.0, 0.0, 1000.0], (40_000, 1))
    found = places_of(np.random.default_rng(1), weights, 4)
    assert_allclose(found.place, [1.0, 3.5, 3.5, 2.0], atol=0.02)
    assert found.wins.tolist() == [1.0, 0.0, 0.0, 0.0]


def test_fewer_anglers_than_pegs_draw_each_peg_equally_often(estimates: Estimates) -> None:
    found = simulated(estimates, anglers=2)
    share = 2 / 6
    assert np.all(np.abs(found.drawn / MATCHES - share) < 4 * np.sqrt(share * (1 - share) / MATCHES))


def test_the_same_seed_gives_the_same_matches(estimates: Estimates) -> None:
    first, again, other = (simulated(estimates, seed=seed) for seed in (1, 1, 2))
    assert np.array_equal(first.wins, again.wins)
    assert not np.array_equal(first.wins, other.wins)


def test_equal_shares_are_as_many_pegs_as_there_are() -> None:
    assert effective_number(np.full(8, 1 / 8)) == pytest.approx(8.0)
    assert effective_number(np.array([1.0, 0.0, 0.0])) == pytest.approx(1.0)
    assert effective_number(np.array([0.5, 0.25, 0.25])) == pytest.approx(2**1.5)
