"""How near a reading of a club's returns comes to the truth behind them: five numbers a club."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import spearmanr

from analytics.catchrate.estimates import Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.predict import NORMAL_95
from analytics.catchrate.spec import CatchSpec
from tests.simulation.answers import (
    Answers,
    catch_model_answers,
    plain_glm_answers,
    raw_mean_answers,
    true_log_weight,
)
from tests.simulation.club import SimulatedClub
from tests.simulation.truth import Codes, Floats, Truth

MEASURES = ("peg_form", "bait_share", "worst_month", "peg_coverage", "weight_coverage")


@dataclass(frozen=True, slots=True)
class Scores:
    """One reading of one club; NaN where the method has no such answer, or `failure` says why none.

    `peg_form`: Spearman's rho of the pegs' form with the truth, the mean over waters. `bait_share`:
    expected weight of each month's recommended bait as a share of the best one's, the mean over months;
    `worst_month` the least of the twelve. `peg_coverage`: share of 90 % intervals that hold the true
    effect, pegs against the mean of their water. `weight_coverage`: the same for the expected weights of
    every peg, month and bait.
    """

    peg_form: float = np.nan
    bait_share: float = np.nan
    worst_month: float = np.nan
    peg_coverage: float = np.nan
    weight_coverage: float = np.nan
    failure: str | None = None


def score_club(club: SimulatedClub, spec: CatchSpec | None = None) -> Scores:
    """The catch model with the given spec; a refusal is a failure."""
    found = fit_catch(club.frame, spec)
    if isinstance(found, Refusal):
        return Scores(failure=f"refused: {found.code}")
    return score_answers(catch_model_answers(found, club.truth), club.truth)


def score_raw_mean(club: SimulatedClub) -> Scores:
    return score_answers(raw_mean_answers(club), club.truth)


def score_plain_glm(club: SimulatedClub) -> Scores:
    try:
        return score_answers(plain_glm_answers(club), club.truth)
    except (np.linalg.LinAlgError, ValueError) as error:  # statsmodels' words for weights that overflow
        return Scores(failure=f"broke down: {error}")


def score_answers(answers: Answers, truth: Truth) -> Scores:
    share = bait_shares(answers.bait_month, truth.bait_month)
    return Scores(
        peg_form=peg_form(answers.peg, truth),
        bait_share=float(share.mean()),
        worst_month=float(share.min()),
        peg_coverage=_coverage(
            centred(answers.peg, truth.water_of_peg), answers.peg_se, centred(truth.peg, truth.water_of_peg)
        ),
        weight_coverage=_coverage(answers.log_weight, answers.log_weight_se, true_log_weight(truth).ravel()),
    )


def peg_form(guess: Floats, truth: Truth) -> float:
    """Spearman's rho within each water, the mean over waters."""
    waters = [truth.water_of_peg == code for code in range(len(truth.water))]
    return float(np.mean([spearmanr(guess[water], truth.peg[water]).statistic for water in waters]))


def bait_shares(guess: Floats, truth: Floats) -> Floats:
    """By month (12,): the recommended bait's expected weight over the best one's; (8, 12) log effects."""
    chosen = np.take_along_axis(truth, guess.argmax(axis=0)[None], axis=0)[0]
    return np.exp(chosen - truth.max(axis=0))


def centred(values: Floats, group: Codes) -> Floats:
    """Each value less the mean of its group."""
    return values - (np.bincount(group, weights=values) / np.bincount(group))[group]


def _coverage(guess: Floats | None, se: Floats | None, truth: Floats) -> float:
    """The share of 90 % intervals that hold the truth."""
    if guess is None or se is None:
        return float("nan")
    return float(np.mean(np.abs(guess - truth) <= NORMAL_95 * se))
