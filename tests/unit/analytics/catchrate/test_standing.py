"""How levels stand to one another: laws of contrasts, ranks and pairs, and scipy's normal distribution."""

from itertools import combinations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from analytics.catchrate.estimates import TermEstimate
from analytics.catchrate.spec import Factor
from analytics.catchrate.standing import (
    Effects,
    chance_above,
    contrasts,
    difference,
    effects_of,
    joint_draws,
    ranks_of,
    ratio_interval,
)
from analytics.catchrate.terms import LearnedFactor

LEVELS = 7


@pytest.fixture
def effects() -> Effects:
    rng = np.random.default_rng(3)
    root = rng.normal(0, 0.2, (LEVELS, 12))
    return Effects(rng.normal(0, 0.3, LEVELS), root @ root.T)


def shifted(effects: Effects, by: float, shared_variance: float) -> Effects:
    """The same, with a constant on every level: known, and of unknown size."""
    return Effects(effects.estimates + by, effects.covariance + shared_variance)


def test_what_all_levels_share_cancels_from_contrasts_and_pairs(effects: Effects) -> None:
    moved = shifted(effects, by=1.7, shared_variance=0.8)
    for told, again in (
        (contrasts(effects).estimates, contrasts(moved).estimates),
        (contrasts(effects).standard_errors, contrasts(moved).standard_errors),
        (difference(effects, 1, 4), difference(moved, 1, 4)),
    ):
        assert_allclose(told, again, rtol=1e-10)


def test_contrasts_are_to_the_geometric_mean(effects: Effects) -> None:
    found = contrasts(effects)
    assert np.prod(np.exp(found.estimates)) == pytest.approx(1.0)
    centring = np.eye(LEVELS) - 1.0 / LEVELS
    assert_allclose(found.standard_errors**2, np.diag(centring @ effects.covariance @ centring.T))


def test_a_chance_is_the_normal_distributions_and_both_sides_make_one() -> None:
    for ratio, error in ((0.3, 0.2), (-0.4, 0.1), (0.0, 0.5), (-3.0, 0.2)):
        assert chance_above(ratio, error) == pytest.approx(stats.norm.sf(0, ratio, error), rel=1e-9)
        assert chance_above(ratio, error) + chance_above(-ratio, error) == pytest.approx(1.0)
    assert (chance_above(0.1, 0.0), chance_above(0.0, 0.0), chance_above(-0.1, 0.0)) == (1.0, 0.5, 0.0)


@pytest.mark.parametrize(("share", "tail"), [(50, 0.25), (90, 0.05)])
def test_an_interval_leaves_as_much_on_either_side(share: int, tail: float) -> None:
    lower, upper = ratio_interval(0.2, 0.3, share)
    assert stats.norm.cdf(np.log(lower), 0.2, 0.3) == pytest.approx(tail)
    assert stats.norm.sf(np.log(upper), 0.2, 0.3) == pytest.approx(tail)


def test_draws_have_the_joint_distribution(effects: Effects) -> None:
    draws = joint_draws(effects.estimates, effects.covariance, 200_000, [5])
    assert_allclose(draws.mean(axis=0), effects.estimates, atol=0.01)
    assert_allclose(np.cov(draws.T), effects.covariance, atol=0.01)


def test_draws_are_the_same_for_the_same_seed_and_may_be_singular() -> None:
    covariance = np.full((3, 3), 0.25)
    draws = joint_draws(np.arange(3.0), covariance, 100, [1, 2])
    assert_allclose(np.diff(draws, axis=1), 1.0, atol=1e-6)
    assert np.array_equal(draws, joint_draws(np.arange(3.0), covariance, 100, [1, 2]))
    assert not np.array_equal(draws, joint_draws(np.arange(3.0), covariance, 100, [1, 3]))


def test_chances_of_ranks_sum_to_one_by_level_and_by_rank(effects: Effects) -> None:
    ranks = ranks_of(joint_draws(effects.estimates, effects.covariance, 4000, [5]))
    assert_allclose(ranks.chances.sum(axis=0), 1.0, rtol=1e-12)
    assert_allclose(ranks.chances.sum(axis=1), 1.0, rtol=1e-12)
    assert ranks.expected.sum() == pytest.approx(LEVELS * (LEVELS + 1) / 2)
    assert ranks.within(2).sum() == pytest.approx(2.0)


def test_an_expected_rank_is_one_and_the_chances_of_being_beaten(effects: Effects) -> None:
    draws = joint_draws(effects.estimates, effects.covariance, 100_000, [5])
    beaten = np.zeros(LEVELS)
    for first, second in combinations(range(LEVELS), 2):
        chance = chance_above(*difference(effects, first, second))
        beaten[second] += chance
        beaten[first] += 1.0 - chance
    assert_allclose(ranks_of(draws).expected, 1.0 + beaten, atol=0.02)


def test_ranks_and_their_quantiles_are_those_counted_by_hand() -> None:
    draws = np.array([[3.0, 2.0, 1.0], [3.0, 1.0, 2.0], [3.0, 2.0, 1.0], [1.0, 3.0, 2.0]])
    ranks = ranks_of(draws)
    assert ranks.chances.tolist() == [[0.75, 0.0, 0.25], [0.25, 0.5, 0.25], [0.0, 0.5, 0.5]]
    assert ranks.quantile(0.5).tolist() == [1, 2, 2]
    assert ranks.quantile(0.05).tolist() == [1, 1, 2]
    assert ranks.quantile(0.95).tolist() == [3, 3, 3]


def test_effects_are_the_levels_asked_for_in_their_order() -> None:
    factor = np.tril(np.random.default_rng(1).normal(size=(5, 5)))
    item = TermEstimate(
        term=LearnedFactor(Factor("peg", "peg"), ("a", "b", "c"), None),
        estimates=(0.1, 0.2, 0.3),
        standard_errors=(1.0, 1.0, 1.0),
        edf=1.0,
        prior_sd=0.3,
        start=2,
    )
    found = effects_of(item, factor, ["c", "a"])
    assert found.estimates.tolist() == [0.3, 0.1]
    assert_allclose(found.covariance, (factor @ factor.T)[np.ix_([4, 2], [4, 2])])
    with pytest.raises(KeyError):
        effects_of(item, factor, ["d"])
