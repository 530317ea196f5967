"""Single returns that the fit's answers hang on: how far each moves them, to first order.

Without return i the coefficients would move by -V x s / (1 - h), one step of the scoring iteration from
where the fit stands (Pregibon 1981, Annals of Statistics 9:705): V is the stored joint covariance, x the
return's row, s the derivative of its log-likelihood by log mean and h its leverage. Variances, power and
dispersion are held.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import weighted_counts
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fitted import Fitted, chosen_sessions, first_parts, part_means
from analytics.catchrate.returns import Returns
from analytics.catchrate.terms import LearnedFactor

INFLUENTIAL = 10
#: Of so many returns, those of the largest scores, the moves are found.
CANDIDATES = 100
#: A leverage is no nearer to one: beyond it the step says nothing.
LARGEST_LEVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class Influence:
    """A return that pulls hard: its position in the frame (from 0), its weights, and what it moves.

    `score` is the derivative of its log-likelihood by log mean, (y - mu) mu^(1-p) / phi; `residual` is
    Pearson's, `leverage` lies between nought and one. `cooks_distance` is the squared move of all
    coefficients in the metric of their covariance, over the effective degrees of freedom (Cook 1977,
    Technometrics 19:15). `club_move` is what the return does to the club's mean log expectation, `peg_move`
    to the effect of `peg`, which it moves most, each in standard errors of what is moved; None without
    pegs.
    """

    position: int
    weight_g: float
    expected_g: float
    score: float
    residual: float
    leverage: float
    cooks_distance: float
    club_move: float
    peg: str | None
    peg_move: float | None


def most_influential(estimates: Estimates, fitted: Fitted) -> tuple[Influence, ...]:
    """The returns of the largest Cook's distance, the largest first."""
    power, returns = fitted.power, fitted.returns
    sessions = _candidates(fitted)
    y, mean, phi = (values[sessions] for values in (returns.weight_g, fitted.mean_g, fitted.dispersion))
    score = (y - mean) * mean ** (1.0 - power) / phi
    projection, own_variance = _projection_beside_its_day(estimates, fitted, sessions)
    variance = np.einsum("ij,ij->i", projection, projection)
    leverage = np.minimum(mean ** (2.0 - power) / phi * (variance + own_variance), LARGEST_LEVERAGE)
    step = score / (1.0 - leverage)
    distance = step**2 * variance / estimates.edf
    order = np.argsort(-distance, kind="stable")[:INFLUENTIAL]
    moves = projection[order] * step[order, None]
    club = _club(estimates, returns)
    residual = (y - mean) / np.sqrt(phi * mean**power)
    club_move = moves @ club / np.sqrt(club @ club)
    peg_moves = _peg_moves(estimates, moves)
    return tuple(
        Influence(
            position=int(returns.position[sessions[row]]),
            weight_g=float(y[row]),
            expected_g=float(mean[row]),
            score=float(score[row]),
            residual=float(residual[row]),
            leverage=float(leverage[row]),
            cooks_distance=float(distance[row]),
            club_move=float(club_move[place]),
            peg=peg_moves[place][0],
            peg_move=peg_moves[place][1],
        )
        for place, row in enumerate(order)
    )


def _candidates(fitted: Fitted) -> NDArray[np.int64]:
    """The sessions of exact weight with the largest scores, ascending."""
    exact, power = fitted.exact, fitted.power
    y, mean, phi = fitted.returns.weight_g[exact], fitted.mean_g[exact], fitted.dispersion[exact]
    pull = np.abs(y - mean) * mean ** (1.0 - power) / phi
    first = max(len(exact) - CANDIDATES, 0)
    return np.sort(exact[np.argpartition(pull, first)[first:]])


def _projection_beside_its_day(
    estimates: Estimates, fitted: Fitted, sessions: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """F'x of some sessions, (n, k), and what their match day's own variance adds to each, (n,).

    The match day is not in the joint covariance V. With H the precision of day and coefficients together,
    V_bm = -V_bb H_bm / H_mm, so a row counts less the mean of its day's rows by weight, shrunk by the day's
    prior: what all of a match share, its day takes up.
    """
    item = estimates.term("match_day")
    if item is None or item.start is not None:
        return _projection(estimates, chosen_sessions(fitted.returns, sessions)), np.zeros(len(sessions))
    codes = item.term.encode(fitted.returns.features).codes[first_parts(fitted.returns)]
    fellows = np.isin(codes, np.unique(codes[sessions][codes[sessions] >= 0]))
    fellows[fitted.returns.bounded] = False
    needed = np.union1d(sessions, np.flatnonzero(fellows))
    rows = _projection(estimates, chosen_sessions(fitted.returns, needed))
    weight = fitted.mean_g[needed] ** (2.0 - fitted.power) / fitted.dispersion[needed]
    days, day = np.unique(codes[needed], return_inverse=True)
    total = np.bincount(day, weight) + item.prior_sd**-2.0
    shared = np.zeros((len(days), rows.shape[1]))
    np.add.at(shared, day, rows * weight[:, None])
    shared /= total[:, None]
    own = 1.0 / total
    shared[days < 0], own[days < 0] = 0.0, 0.0
    chosen = np.searchsorted(needed, sessions)
    return rows[chosen] - shared[day[chosen]], own[day[chosen]]


def _projection(estimates: Estimates, returns: Returns) -> FloatArray:
    """F'x of each session, (s, k): a session's row is the mean of its parts' by their expected weight."""
    factor = estimates.covariance_factor
    by_part = np.repeat(factor[:1], len(returns.hours), axis=0)
    for item in estimates.terms:
        if item.start is not None:
            rows = factor[item.start : item.start + item.term.size]
            by_part += item.term.encode(returns.features).spread(rows)
    if returns.session is None:
        return by_part
    alone = part_means(estimates, returns)
    share = alone / weighted_counts(returns.session, alone, len(returns.weight_g))[returns.session]
    summed: FloatArray = np.add.reduceat(by_part * share[:, None], first_parts(returns))
    return summed


def _club(estimates: Estimates, returns: Returns) -> FloatArray:
    """F'x of the mean row of all parts, (k,)."""
    factor = estimates.covariance_factor
    mean: FloatArray = factor[0].copy()
    for item in estimates.terms:
        if item.start is not None:
            coded = item.term.encode(returns.features)
            met = coded.codes[coded.codes >= 0]
            share = np.bincount(met, minlength=coded.rows()) / len(coded.codes)
            columns = share if coded.table is None else share @ coded.table
            mean += columns @ factor[item.start : item.start + item.term.size]
    return mean


def _peg_moves(estimates: Estimates, moves: FloatArray) -> list[tuple[str | None, float | None]]:
    """For each row of moves, (n, k), the peg that it moves most, and by how many standard errors."""
    item = estimates.term("peg")
    if item is None or item.start is None or not isinstance(item.term, LearnedFactor):
        return [(None, None)] * len(moves)
    rows = estimates.covariance_factor[item.start : item.start + item.term.size]
    by_peg = rows @ moves.T / np.sqrt(np.einsum("ij,ij->i", rows, rows))[:, None]
    most = np.argmax(np.abs(by_peg), axis=0)
    return [(item.term.levels[peg], float(by_peg[peg, place])) for place, peg in enumerate(most)]
