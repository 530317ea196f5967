"""What single returns move, against fits without them."""

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.fitted import fitted_returns
from analytics.catchrate.influence import INFLUENTIAL, Influence, most_influential
from analytics.catchrate.returns import Returns, usable_returns
from analytics.catchrate.spec import CatchSpec
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder


def fit(frame: pd.DataFrame, warm: Estimates | None = None) -> Estimates:
    found = fit_catch(frame, None, None, warm)
    assert isinstance(found, Estimates)
    return found


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(3, 800, pegs=24, anglers=30).frame


@pytest.fixture(scope="module")
def estimates(frame: pd.DataFrame) -> Estimates:
    return fit(frame)


@pytest.fixture(scope="module")
def listed(frame: pd.DataFrame, estimates: Estimates) -> tuple[Influence, ...]:
    return most_influential(estimates, fitted_returns(estimates, frame))


def club_mean(estimates: Estimates, returns: Returns) -> float:
    """The mean over all returns of what predicts."""
    effects = [
        item.term.encode(returns.features).spread(np.asarray(item.estimates)).mean()
        for item in estimates.terms
        if item.start is not None
    ]
    return float(estimates.intercept + sum(effects))


def test_the_moves_are_those_of_fits_without_the_return(
    frame: pd.DataFrame, estimates: Estimates, listed: tuple[Influence, ...]
) -> None:
    """One step instead of a whole fit, variances held: within a quarter, or a twelfth of a standard error."""
    returns = usable_returns(frame, CatchSpec())
    error = club_mean_error(estimates, returns)
    for item in listed[:5]:
        without = fit(frame.drop(frame.index[item.position]), estimates)
        assert item.peg is not None and item.peg_move is not None
        effects, left = (found.term("peg") for found in (estimates, without))
        assert effects is not None and left is not None
        value, peg_error = effects.effects()[item.peg]
        moved = (value - left.effects()[item.peg][0]) / peg_error
        assert item.peg_move == pytest.approx(moved, rel=0.25, abs=0.02)
        club = (club_mean(estimates, returns) - club_mean(without, returns)) / error
        assert item.club_move == pytest.approx(club, abs=1 / 12)


def club_mean_error(estimates: Estimates, returns: Returns) -> float:
    row = estimates.covariance_factor[0].copy()
    for item in estimates.terms:
        if item.start is not None:
            rows = estimates.covariance_factor[item.start : item.start + item.term.size]
            row += item.term.encode(returns.features).spread(rows).mean(axis=0)
    return float(np.sqrt(row @ row))


def test_they_come_by_cooks_distance_and_each_pulls_the_way_it_lies(listed: tuple[Influence, ...]) -> None:
    assert len(listed) == INFLUENTIAL
    distances = [item.cooks_distance for item in listed]
    assert distances == sorted(distances, reverse=True) and distances[-1] > 0
    for item in listed:
        assert 0 < item.leverage < 1
        assert np.sign(item.score) == np.sign(item.residual) == np.sign(item.weight_g - item.expected_g)


def test_a_return_mistyped_by_a_factor_of_ten_comes_first(frame: pd.DataFrame) -> None:
    mistyped = frame.copy()
    position = int(np.argmin(np.abs(frame["weight_g"] - 12_000.0)))
    mistyped.loc[position, "weight_g"] *= 10.0
    found = fit(mistyped)
    first = most_influential(found, fitted_returns(found, mistyped))[0]
    assert first.position == position
    assert first.peg == mistyped["peg"].iloc[position]


def test_sessions_of_several_parts_count_as_one() -> None:
    harder = Harder(two_part_share=0.5)
    frame = simulate_club(5, 500, pegs=12, anglers=12, harder=harder).frame.reset_index(drop=True)
    found = fit(frame)
    listed = most_influential(found, fitted_returns(found, frame))
    sessions = [frame["session"].iloc[item.position] for item in listed]
    assert len(set(sessions)) == len(sessions)


def test_without_pegs_none_is_named(frame: pd.DataFrame) -> None:
    spec = CatchSpec().without("peg")
    found = fit_catch(frame, spec)
    assert isinstance(found, Estimates)
    listed = most_influential(found, fitted_returns(found, usable_returns(frame, spec)))
    assert {(item.peg, item.peg_move) for item in listed} == {(None, None)}
