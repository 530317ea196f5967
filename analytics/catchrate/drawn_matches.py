"""Matches simulated on given pegs by equally able anglers: who wins by the draw alone. NumPy alone."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.predict import Questions, expectation, joint_rows
from analytics.catchrate.standing import joint_draws


@dataclass(frozen=True, slots=True, eq=False)
class DrawnOutcomes:
    """What a peg's draw is worth, (n,) each, given that it is drawn; `matches` were simulated.

    `wins` are chances to come first, `top_quarter` to be among the first quarter of the anglers, rounded
    up; `place` and `points` are means. The first of k anglers has k points, the last one.
    """

    wins: FloatArray
    top_quarter: FloatArray
    place: FloatArray
    points: FloatArray
    drawn: NDArray[np.int64]
    matches: int

    @property
    def win_shares(self) -> FloatArray:
        """The chance, (n,), that the winner sits at each peg: they sum to one."""
        return self.wins * self.drawn / self.matches


def simulate_matches(
    estimates: Estimates, questions: Questions, *, anglers: int, matches: int, seed: Sequence[int]
) -> DrawnOutcomes:
    """So many matches of so many equally able anglers on the questions' pegs, (n,) of them.

    In each match the pegs' effects come from their joint posterior and one day is drawn for all; then
    each angler's weight from the Tweedie distribution. Of more pegs than anglers each match draws as many
    at random. Equal weights, which only blanks have, share their places.
    """
    generator = np.random.default_rng([*seed, 1])
    expected = expectation(estimates, questions)
    rows, unseen = joint_rows(estimates, questions)
    # A typical angler on a typical day: what a mean over both adds comes off again.
    log_mean = expected.eta - np.log(expected.multipliers["averaging"])
    log_means = joint_draws(log_mean, rows @ rows.T + np.diag(unseen), matches, [*seed, 2])
    day = estimates.term("match_day")
    if day is not None:
        log_means += day.prior_sd * generator.standard_normal((matches, 1))
    weights = draw(generator, np.exp(log_means), estimates.dispersion, estimates.power)
    return places_of(generator, weights, anglers)


def places_of(generator: np.random.Generator, weights: FloatArray, anglers: int) -> DrawnOutcomes:
    """Count places in weights (m, n): rank one is the heaviest, of those drawn."""
    matches, pegs = weights.shape
    # Blanks in a random order: their places are shared on average.
    ranked = np.where(weights == 0.0, -generator.random(weights.shape), weights)
    if anglers < pegs:
        lots = np.argsort(generator.random(weights.shape), axis=1)
        np.put_along_axis(ranked, lots[:, anglers:], -np.inf, axis=1)
    order = np.argsort(-ranked, axis=1)[:, :anglers]
    cells = order * anglers + np.arange(anglers)
    counts = np.bincount(cells.ravel(), minlength=pegs * anglers).reshape(pegs, anglers)
    drawn = counts.sum(axis=1)
    chances = counts / np.maximum(drawn, 1)[:, None]
    place = chances @ np.arange(1.0, anglers + 1.0)
    quarter = -(-anglers // 4)
    return DrawnOutcomes(
        wins=chances[:, 0],
        top_quarter=chances[:, :quarter].sum(axis=1),
        place=place,
        points=anglers + 1.0 - place,
        drawn=drawn,
        matches=matches,
    )


def effective_number(shares: FloatArray) -> float:
    """How many equal pegs a draw is like: the exponential of the shares' entropy.

    Shannon's entropy in nats; as a number of equal classes, Hill 1973, Ecology 54:427 (from memory).
    """
    held = shares[shares > 0.0]
    return float(np.exp(-np.sum(held * np.log(held))))
