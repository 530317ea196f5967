"""What is made of weights that are not known exactly, each against the simulated truth.

Seeds are declared beforehand and every one counts. Where a whole record of the same club exists, it says how
near a reading of the partial one could come.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch, problem_of, unit_of
from analytics.catchrate.problem import Block
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from analytics.catchrate.terms import Encoded
from tests.simulation.club import SimulatedClub, simulate_club
from tests.simulation.harder import Harder
from tests.simulation.scores import centred
from tests.simulation.truth import BAITS, POWER

SEEDS = (1, 2, 3)
INTERACTIONS = ("season_distance", "hook_bait_month", "water_year")
PLAIN = CatchSpec().without(*INTERACTIONS)


def club_of(seed: int, returns: int = 1000, **harder: float) -> SimulatedClub:
    return simulate_club(seed, returns, pegs=20, anglers=20, harder=Harder(**harder))


def fitted(frame: pd.DataFrame, spec: CatchSpec = PLAIN) -> Estimates:
    found = fit_catch(frame, spec)
    assert isinstance(found, Estimates), found
    return found


def peg_error(found: Estimates, club: SimulatedClub) -> float:
    """Root mean square of the pegs' errors, each against the mean of its water."""
    effects = found.term("peg").effects()
    guess = np.array([effects[f"peg {code:02d}"][0] for code in range(20)])
    water = club.truth.water_of_peg
    return float(np.sqrt(np.mean((centred(guess, water) - centred(club.truth.peg, water)) ** 2)))


@pytest.fixture(scope="module")
def unweighed() -> list[dict[str, tuple[float, float, float]]]:
    """By club and way: the pegs' error, the intercept's distance from the whole record's, and the power.

    Seven in ten of the bags up to 2 kg go unweighed, with that bound.
    """
    found = []
    for seed in SEEDS:
        club = club_of(seed, did_not_weigh_share=0.7, poor_bag_g=2000.0)
        whole = fitted(club_of(seed).frame)
        ways = {}
        for way in DidNotWeigh:
            fit = fitted(club.frame, replace(PLAIN, did_not_weigh=way))
            ways[way.name] = (peg_error(fit, club), abs(fit.intercept - whole.intercept), fit.power)
        found.append(ways)
    return found


def test_censored_weights_recover_the_pegs_best(
    unweighed: list[dict[str, tuple[float, float, float]]],
) -> None:
    error = {way: np.mean([club[way][0] for club in unweighed]) for way in unweighed[0]}
    assert error["CENSORED"] < error["LEFT_OUT"]
    assert error["CENSORED"] < error["AS_ZERO"]


def test_censored_weights_recover_the_intercept_best(
    unweighed: list[dict[str, tuple[float, float, float]]],
) -> None:
    for club in unweighed:
        assert club["CENSORED"][1] < club["LEFT_OUT"][1]
        assert club["CENSORED"][1] < club["AS_ZERO"][1]


def test_taken_as_zeros_they_bend_the_power_and_censored_they_do_not(
    unweighed: list[dict[str, tuple[float, float, float]]],
) -> None:
    for club in unweighed:
        assert abs(club["CENSORED"][2] - POWER) < 0.06
        assert club["AS_ZERO"][2] < POWER - 0.1


def test_a_net_limit_is_better_taken_as_at_least_than_dropped_or_as_exact() -> None:
    """Of a limit that about a quarter of the weights are over."""
    errors, levels = [], []
    for seed in SEEDS:
        club = club_of(seed, 700, net_limit_g=8000.0)
        exact = club.frame.assign(outcome=club.frame["outcome"].replace("over_net_limit", "weighed"))
        ways = (
            fitted(club.frame),
            fitted(club.frame, replace(PLAIN, at_least=False)),
            fitted(exact),
        )
        whole = fitted(club_of(seed, 700).frame)
        errors.append([peg_error(way, club) for way in ways])
        levels.append([abs(way.intercept - whole.intercept) for way in ways])
    for measured in (np.mean(errors, axis=0), np.mean(levels, axis=0)):
        assert measured[0] < measured[1]
        assert measured[0] < measured[2]


def test_estimated_weights_have_a_dispersion_of_their_own() -> None:
    """Every pleasure weight estimated, blanks too, with 2.5 times the dispersion of those weighed."""
    ratios = []
    for seed in SEEDS:
        frame = club_of(seed, estimated_share=1.0, estimated_dispersion_ratio=2.5).frame
        told = frame.assign(outcome=frame["outcome"].where(frame["is_match"], "estimated"))
        own = fitted(told)
        ratios.append(own.estimated_dispersion / own.dispersion)
        shared = fitted(told, replace(PLAIN, estimated_dispersion=False))
        assert shared.estimated_dispersion == shared.dispersion
        assert own.dispersion < shared.dispersion < own.estimated_dispersion
    # The logarithm of a ratio of two dispersions of 500 returns is known to about .09, its mean to .05.
    assert np.log(np.mean(ratios)) == pytest.approx(np.log(2.5), abs=0.15)


def test_a_handful_of_estimated_weights_share_the_dispersion_of_the_others() -> None:
    frame = club_of(1).frame
    frame.loc[frame.index[frame["weight_g"] > 0][:29], "outcome"] = "estimated"
    found = fitted(frame)
    assert found.rows.estimated == 29
    assert found.estimated_dispersion == found.dispersion


def test_a_total_shared_over_its_parts_tells_more_of_baits_than_its_longest_part() -> None:
    """Sessions in two parts alone, each part with its bait: the slope on the truth, and the error."""
    slopes, errors = [], []
    for seed in SEEDS:
        club = club_of(seed, 3000, two_part_share=1.0)
        pleasure = club.frame[~club.frame["is_match"]]
        truth = club.truth.bait_month.mean(axis=1)
        truth = truth - truth.mean()
        found = []
        for share in (True, False):
            effects = fitted(pleasure, replace(PLAIN, share_parts=share)).term("hook_bait").effects()
            guess = np.array([effects[bait][0] for bait in BAITS])
            found.append(guess - guess.mean())
        slopes.append([guess @ truth / (truth @ truth) for guess in found])
        errors.append([np.sqrt(np.mean((guess - truth) ** 2)) for guess in found])
    shared, longest = np.mean(slopes, axis=0)
    # The longest part's bait is given what the other caught: its effects come out too near nothing.
    assert longest < shared < 1.1
    assert np.mean(errors, axis=0)[0] < np.mean(errors, axis=0)[1]


def test_catch_is_in_proportion_to_hours() -> None:
    """A line in log hours beside the offset, which holds the coefficient at one, finds nothing to add."""
    gaps = []
    for seed in SEEDS:
        design = learn_design(club_of(seed).frame, PLAIN)
        assert isinstance(design, Design)
        problem = problem_of(design, PLAIN, unit_of(design.returns))
        hours, codes = np.unique(design.returns.hours, return_inverse=True)
        line = np.log(hours) - np.log(design.returns.hours).mean()
        blocks = [*problem.blocks, Block(Encoded(codes.astype(np.int32), line[:, None], 1))]
        found = solve(replace(problem, blocks=blocks))
        gaps.append(found.state.coefficients[-1] / np.sqrt(found.covariance.matrix[-1, -1]))
    assert np.max(np.abs(gaps)) < 3
    assert abs(np.mean(gaps)) < 3 / np.sqrt(len(SEEDS))
