"""How far out in the predictive distribution a session's weight lies, finely enough for rare tails.

Given everything that is told of it, a session's log mean is taken as normal: the joint covariance, what an
unseen level adds, an unnamed angler, and in a match its day. The weight's distribution function is that of
the Tweedie weight averaged over the log mean by Gauss-Hermite quadrature. A blank counts half of its
probability to either side (the mid-P value; Lancaster 1961, JASA 56:223).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.density import cumulative
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fitted import first_parts, session_words
from analytics.catchrate.forecast import LARGEST_LOG_G, questions_of
from analytics.catchrate.predict import Questions, joint_rows, log_means
from analytics.catchrate.questions import ask
from analytics.catchrate.returns import ESTIMATED, Returns
from analytics.catchrate.terms import LearnedFactor

#: Points of the quadrature.
NODES = 31
#: The ends of the range that is told: it holds nine such sessions in ten.
ENDS = (0.05, 0.95)
#: Halvings of the logarithmic span in which an end is sought: to a thousandth of a gram.
HALVINGS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Predictive:
    """The distribution of the weight of some sessions, (s,) each: log grams and grams.

    `log_mean` and `log_sd` are of the session's own mean; `expected_g` is what every answer expects of it.
    """

    log_mean: FloatArray
    log_sd: FloatArray
    expected_g: FloatArray
    dispersion: FloatArray
    power: float

    def at(self, sessions: IntArray) -> "Predictive":
        """Of some of the sessions."""
        return Predictive(
            self.log_mean[sessions],
            self.log_sd[sessions],
            self.expected_g[sessions],
            self.dispersion[sessions],
            self.power,
        )

    def below(self, weight_g: FloatArray) -> FloatArray:
        """P(Y <= y), (s,), of as many weights."""
        nodes, shares = _quadrature()
        chance = np.zeros(len(weight_g))
        for node, share in zip(nodes, shares, strict=True):
            chance += share * self._given(weight_g, float(node))
        return chance

    def ends(self) -> tuple[FloatArray, FloatArray]:
        """The weights, (s,) each, between which nine such sessions in ten lie; nought for a likely blank."""
        lower, upper = (self._quantile(end) for end in ENDS)
        return lower, upper

    def middle(self, weight_g: FloatArray) -> FloatArray:
        """P(Y < y) + P(Y = y) / 2 at the middle of the log mean alone, (s,)."""
        return _halved(weight_g, self._given(weight_g, 0.0))

    def _given(self, weight_g: FloatArray, node: float) -> FloatArray:
        mean = np.exp(np.minimum(self.log_mean + node * self.log_sd, LARGEST_LOG_G))
        return cumulative(weight_g, mean, self.dispersion, self.power)

    def _quantile(self, chance: float) -> FloatArray:
        blank = self.below(np.zeros(len(self.log_mean))) >= chance
        low, high = self.log_mean - 30.0, self.log_mean + 10.0 * (1.0 + self.log_sd)
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            is_below = self.below(np.exp(middle)) < chance
            low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
        return np.where(blank, 0.0, np.exp(high))


def two_sided(predictive: Predictive, weight_g: FloatArray, least: float) -> FloatArray:
    """Twice the smaller tail at each weight, (s,); one wherever it is surely not below `least`.

    The tail at the middle of the log mean is a part of the whole, as large as the middle point's share, so
    where that part alone is above the limit the quadrature is spared.
    """
    _, shares = _quadrature()
    middle = predictive.middle(weight_g)
    part = 2.0 * np.minimum(middle, 1.0 - middle) * shares[NODES // 2]
    doubtful = np.flatnonzero(part < least)
    found = np.ones(len(weight_g))
    if len(doubtful):
        chosen = predictive.at(doubtful)
        chance = _halved(weight_g[doubtful], chosen.below(weight_g[doubtful]))
        found[doubtful] = 2.0 * np.minimum(chance, 1.0 - chance)
    return found


def predictive_of(estimates: Estimates, returns: Returns) -> Predictive:
    """The distributions of sessions as they were fished, each given its year where the fit met that year."""
    asked = ask(estimates, _in_their_years(estimates, returns, questions_of(returns)))
    log_mean = log_means(estimates, asked)
    rows, unseen = joint_rows(estimates, asked)
    if returns.session is not None:
        log_mean, rows, unseen = _summed(log_mean, rows, unseen, returns)
    variance = np.einsum("ij,ij->i", rows, rows) + unseen
    expected_g = np.exp(np.minimum(log_mean, LARGEST_LOG_G))
    for name, drawn in (("angler", asked.nobody), ("match_day", asked.matches)):
        item = estimates.term(name)
        own = 0.0 if item is None else item.prior_sd**2
        luck = own * drawn[first_parts(returns)].astype(np.float64)
        # The expectation holds half of this variance already.
        log_mean, variance = log_mean - luck / 2.0, variance + luck
    estimated = returns.dispersion_class == ESTIMATED
    return Predictive(
        log_mean=log_mean,
        log_sd=np.sqrt(variance),
        expected_g=expected_g,
        dispersion=np.where(estimated, estimates.estimated_dispersion, estimates.dispersion),
        power=estimates.power,
    )


def _in_their_years(estimates: Estimates, returns: Returns, questions: Questions) -> Questions:
    item = estimates.term("year")
    if item is None or not isinstance(item.term, LearnedFactor):
        return questions
    met = {*item.term.levels, item.term.reference}
    words = _by_part(returns, "year")
    return replace(questions, year=[word if word in met else None for word in words])


def _by_part(returns: Returns, name: str) -> list[str | None]:
    words = session_words(replace(returns, session=None), name).words()
    return list(words)


def _summed(
    log_mean: FloatArray, rows: FloatArray, unseen: FloatArray, returns: Returns
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of sessions from their parts: a session's row is the mean of its parts' by expected weight."""
    starts = first_parts(returns)
    parts = np.exp(np.minimum(log_mean, LARGEST_LOG_G))
    total = np.add.reduceat(parts, starts)
    share = parts / total[returns.session]
    return (
        np.log(total),
        np.add.reduceat(rows * share[:, None], starts),
        np.add.reduceat(unseen * share, starts),
    )


def _quadrature() -> tuple[FloatArray, FloatArray]:
    """Points and shares of the average over a standard normal, the middle one at nought."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    nodes[NODES // 2] = 0.0
    return nodes, weights / weights.sum()


def _halved(weight_g: FloatArray, chance: FloatArray) -> FloatArray:
    blank: NDArray[np.bool_] = weight_g == 0.0
    return np.where(blank, chance / 2.0, chance)
