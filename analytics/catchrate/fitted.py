"""The returns of a fit beside what the fit makes of them: one mean and one dispersion a session."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import weighted_counts
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.family import Tweedie
from analytics.catchrate.response import Membership, Response
from analytics.catchrate.returns import Returns, usable_returns
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from analytics.catchrate.terms import Coded


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """The returns that were fitted with each session's mean, grams, and dispersion, (s,) each."""

    returns: Returns
    mean_g: FloatArray
    dispersion: FloatArray
    power: float

    @property
    def exact(self) -> NDArray[np.int64]:
        """The sessions whose weight is known, not only its bounds."""
        return np.flatnonzero(~self.returns.bounded)


def fitted_returns(estimates: Estimates, returns: Returns | pd.DataFrame) -> Fitted:
    """What was fitted, from usable returns or from the frame itself.

    A frame's weights that nobody knows become what the fit took them for; the rest follows the default
    spec. Of a fit with other switches pass `usable_returns(frame, spec)`.

    :raises KeyError: a column is missing from the frame.
    """
    if isinstance(returns, pd.DataFrame):
        spec = replace(CatchSpec(), did_not_weigh=DidNotWeigh(estimates.did_not_weigh))
        returns = usable_returns(returns, spec)
    mean_g = fitted_means(estimates, returns)
    return Fitted(returns, mean_g, dispersions_of(estimates, returns, mean_g), estimates.power)


def dispersions_of(estimates: Estimates, returns: Returns, mean_g: FloatArray) -> FloatArray:
    """The dispersion of each session, (s,); a blank's is between both, as the probabilities have it."""
    both = np.array([estimates.dispersion, estimates.estimated_dispersion])
    if both[0] == both[1]:
        return np.full(len(mean_g), both[0])
    response = Response(
        returns.weight_g,
        np.ones_like(mean_g),
        returns.dispersion_class,
        returns.lower_g,
        returns.upper_g,
        blank_group=returns.kind_codes,
    )
    membership = Membership(response)
    halves = Tweedie(estimates.power).halves(returns.weight_g, np.log(mean_g))
    membership.settle(halves, np.log(both))
    dispersion: FloatArray = 1.0 / (membership.shares @ (1.0 / both))
    return dispersion


def fitted_means(estimates: Estimates, returns: Returns) -> FloatArray:
    """The fitted mean of each session, (s,) grams: the sum over its parts."""
    by_part = part_means(estimates, returns)
    if returns.session is None:
        return by_part
    return weighted_counts(returns.session, by_part, len(returns.weight_g))


def part_means(estimates: Estimates, returns: Returns) -> FloatArray:
    """Hours times exp(eta) of each part, (r,) grams, its angler and match day as they were."""
    eta = np.full(len(returns.hours), estimates.intercept)
    for item in estimates.terms:
        eta += item.term.encode(returns.features).spread(np.asarray(item.estimates))
    by_part: FloatArray = returns.hours * np.exp(eta)
    return by_part


def session_hours(returns: Returns) -> FloatArray:
    """Rod-hours of each session over all its parts, (s,)."""
    if returns.session is None:
        return returns.hours
    return weighted_counts(returns.session, returns.hours, len(returns.weight_g))


def first_parts(returns: Returns) -> NDArray[np.int64]:
    """The row of each session's first part, by which a session of several is told from others."""
    if returns.session is None:
        return np.arange(len(returns.hours))
    return np.flatnonzero(np.diff(returns.session, prepend=-1))


def session_words(returns: Returns, name: str) -> Coded:
    """A feature of words by session, (s,): that of the first part."""
    column = returns.features[name]
    assert isinstance(column, Coded)  # noqa: S101 - asked of features of words alone
    return Coded(column.codes[first_parts(returns)], column.levels)


def chosen_sessions(returns: Returns, sessions: NDArray[np.int64]) -> Returns:
    """Some of the sessions (ascending) with their parts; what is told of all of them stays as it was."""
    rows, session = sessions, None
    if returns.session is not None:
        place = np.full(len(returns.weight_g), -1, dtype=np.int64)
        place[sessions] = np.arange(len(sessions))
        rows = np.flatnonzero(place[returns.session] >= 0)
        session = place[returns.session[rows]]
    features = {
        name: Coded(column.codes[rows], column.levels) if isinstance(column, Coded) else column[rows]
        for name, column in returns.features.items()
    }
    return replace(
        returns,
        weight_g=returns.weight_g[sessions],
        lower_g=returns.lower_g[sessions],
        upper_g=returns.upper_g[sessions],
        dispersion_class=returns.dispersion_class[sessions],
        position=returns.position[sessions],
        hours=returns.hours[rows],
        session=session,
        features=features,
        peg_order=returns.peg_order[rows],
    )
