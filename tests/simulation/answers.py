"""What three ways of reading a club's returns say of its pegs, baits and weights, in one shape.

The raw mean of the weights; a plain GLM without pooling (Candy 2004; Shono 2008); and the catch model.
All answer for the same conditions: a match in the club's last year, five hours, the middle of each month
with its usual water temperature, force 3, 9 m out, one rig type, averaged over the club's anglers.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import statsmodels.api as sm

from analytics.catchrate.estimates import Estimates
from analytics.catchrate.features import mid_month, wind_class
from analytics.catchrate.predict import Questions, expectation, log_mean_draws
from analytics.catchrate.spec import MATCH
from tests.simulation.club import SimulatedClub
from tests.simulation.truth import (
    BAITS,
    BASE_KG_PER_HOUR,
    MATCH_DAY_SD,
    RIGS,
    Codes,
    Floats,
    Truth,
    conditions_effect,
    usual_temperature_c,
)
from tests.simulation.truth import MATCH as MATCH_EFFECT

HOURS, WIND_FORCE, DISTANCE_M, RIG = 5.0, 3.0, 9.0, 0
MONTHS = np.arange(1, 13)
DAYS = mid_month(MONTHS)
TEMPERATURES_C = usual_temperature_c(DAYS)
POWER = 1.5
#: Joint draws for the standard error of a peg against its water's mean: good to 1 in 60.
DRAWS = 2000


@dataclass(frozen=True, eq=False)
class Answers:
    """Peg form (pegs,), baits by month (8, 12) and log expected grams of peg, month and bait, flattened.

    Standard errors are None where the method has none; that of a peg is of its effect against the mean
    of its water's pegs.
    """

    peg: Floats
    bait_month: Floats
    peg_se: Floats | None = None
    log_weight: Floats | None = None
    log_weight_se: Floats | None = None


def true_log_weight(truth: Truth) -> Floats:
    """Log expected grams (pegs, 12, 8) over match days and the club's anglers of the last year."""
    averaging = np.log(np.mean(np.exp(truth.angler))) + MATCH_DAY_SD**2 / 2
    common = np.log(1000 * BASE_KG_PER_HOUR * HOURS) + MATCH_EFFECT + truth.rig[RIG] + averaging
    month = conditions_effect(DAYS, np.full(12, DISTANCE_M), TEMPERATURES_C, np.full(12, WIND_FORCE))
    peg = truth.water[truth.water_of_peg] + truth.peg
    return common + peg[:, None, None] + month[:, None] + truth.bait_month.T


def grid(pegs: int) -> tuple[Codes, Codes, Codes]:
    """Peg, month (0 to 11) and bait of every combination, in the order of `true_log_weight`."""
    peg, month, bait = np.indices((pegs, 12, len(BAITS))).reshape(3, -1)
    return peg, month, bait


def peg_names(truth: Truth) -> list[str]:
    return [f"peg {code:02d}" for code in range(len(truth.peg))]


def raw_mean_answers(club: SimulatedClub) -> Answers:
    """Mean weight by peg, and by bait in a month over the whole club (by water it would be worse)."""
    rows = whole_sessions(club.frame)
    peg = rows.groupby("peg")["weight_g"].mean().reindex(peg_names(club.truth))
    cells = rows.groupby(["hook_bait", rows["fished_on"].dt.month])["weight_g"].mean().unstack()
    baits = cells.reindex(index=list(BAITS), columns=MONTHS)
    return Answers(peg=peg.fillna(peg.mean()).to_numpy(), bait_month=baits.fillna(-1.0).to_numpy())


def plain_glm_answers(club: SimulatedClub) -> Answers:
    """statsmodels' Tweedie of power 1.5 on dummies, bait by month among them; quadratics for the rest.

    :raises numpy.linalg.LinAlgError, ValueError: the iterations broke down.
    """
    rows = whole_sessions(club.frame)
    levels = _levels(rows, peg_names(club.truth))
    family = sm.families.Tweedie(link=sm.families.links.Log(), var_power=POWER)
    design = _glm_design(_glm_rows(rows), levels)
    found = sm.GLM(rows["weight_g"], design, family=family, offset=np.log(rows["hours"])).fit(maxiter=200)
    coefficients, covariance = found.params.to_numpy(), found.cov_params().to_numpy()
    peg, month, bait = grid(len(club.truth.peg))
    asked = _glm_design(_glm_questions(club, levels, peg, month, bait), levels).to_numpy()
    asked = _averaged_over_anglers(asked, design.columns, coefficients)
    log_weight = np.log(HOURS) + asked @ coefficients + _log_mean_of_anglers(design.columns, coefficients)
    shape = (len(club.truth.peg), 12, len(BAITS))
    contrast = asked.reshape(*shape, -1)[:, 0, 0]
    contrast = contrast - _water_means(contrast, club.truth.water_of_peg)
    return Answers(
        peg=contrast @ coefficients,
        peg_se=_standard_errors(contrast, covariance),
        bait_month=log_weight.reshape(shape)[0].T,
        log_weight=log_weight,
        log_weight_se=_standard_errors(asked, covariance),
    )


def catch_model_answers(estimates: Estimates, truth: Truth) -> Answers:
    """The stored estimates' own answers."""
    peg, month, bait = grid(len(truth.peg))
    found = expectation(estimates, _questions(truth, peg, month, bait))
    every = np.arange(len(truth.peg))
    questions = _questions(truth, every, np.full(len(every), 5), np.zeros(len(every), dtype=np.int64))
    draws = log_mean_draws(estimates, questions, DRAWS, seed=1)
    form = expectation(estimates, questions).eta
    return Answers(
        peg=form,
        peg_se=(draws - _water_means(draws, truth.water_of_peg)).std(axis=1),
        bait_month=found.eta.reshape(-1, 12, len(BAITS))[0].T,
        log_weight=found.eta,
        log_weight_se=found.eta_se,
    )


def whole_sessions(frame: pd.DataFrame) -> pd.DataFrame:
    """Sessions of known weight, one row each; two parts are told by the first, with the hours of both."""
    if "session" in frame:
        hours = frame.groupby("session")["hours"].transform("sum")
        frame = frame.assign(hours=hours).drop_duplicates("session")
    return frame[frame["weight_g"].notna()].reset_index(drop=True)


def _questions(truth: Truth, peg: Codes, month: Codes, bait: Codes) -> Questions:
    names = peg_names(truth)
    return Questions(
        month=[int(code) + 1 for code in month],
        water=[f"water {truth.water_of_peg[code]}" for code in peg],
        peg=[names[code] for code in peg],
        hook_bait=[BAITS[code] for code in bait],
        rig_type=RIGS[RIG],
        session_kind=MATCH,
        distance_m=DISTANCE_M,
        wind_force=WIND_FORCE,
        water_temperature_c=TEMPERATURES_C[month],
        hours=HOURS,
    )


def _levels(rows: pd.DataFrame, pegs: list[str]) -> dict[str, list[str]]:
    """Dummy levels by column; the first has no column of its own.

    A bait's month has one only where something was caught: all-blank cells drive it to minus infinity
    and broke the iterations in one club of 800 returns in seven.
    """
    told = _glm_rows(rows)
    caught = set(told["cell"][rows["weight_g"] > 0])
    found = {name: sorted(set(told[name])) for name in ("angler", "rig", "wind", "kind", "year", "month")}
    baits = [*BAITS, "unknown"]
    cells = [f"{bait}/{month}" for bait in BAITS[1:] for month in found["month"][1:]]
    return found | {"peg": pegs, "bait": baits, "cell": ["none", *(cell for cell in cells if cell in caught)]}


def _glm_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """Words and numbers as the plain GLM takes them; what is not recorded has a level, or the mean."""
    month = rows["fished_on"].dt.month.map("{:02d}".format)
    bait = rows["hook_bait"].fillna("unknown")
    told = pd.DataFrame(
        {
            "peg": rows["peg"],
            "angler": rows["angler"],
            "rig": rows["rig_type"].fillna("unknown"),
            "wind": rows["wind_force"].map(wind_class),
            "kind": rows["is_match"].map({True: MATCH, False: "pleasure"}),
            "year": rows["fished_on"].dt.year.astype(str),
            "month": month,
            "bait": bait,
            "cell": bait + "/" + month,
        }
    )
    for name, middle in (("distance_m", 9.0), ("water_temperature_c", 12.0)):
        told[f"{name} missing"] = rows[name].isna().astype(float)
        told[name] = ((rows[name] - middle) / 5).fillna(((rows[name] - middle) / 5).mean())
        told[f"{name} squared"] = told[name] ** 2
    return told


def _glm_questions(
    club: SimulatedClub, levels: dict[str, list[str]], peg: Codes, month: Codes, bait: Codes
) -> pd.DataFrame:
    """The stated conditions as rows of the frame, in the words of the plain GLM."""
    year = club.frame["fished_on"].dt.year.max()
    dates = pd.to_datetime([f"{year}-{number:02d}-15" for number in MONTHS])
    return _glm_rows(
        pd.DataFrame(
            {
                "peg": np.array(levels["peg"])[peg],
                "angler": levels["angler"][0],
                "rig_type": RIGS[RIG],
                "wind_force": WIND_FORCE,
                "is_match": True,
                "fished_on": dates[month],
                "hook_bait": np.array(BAITS)[bait],
                "distance_m": DISTANCE_M,
                "water_temperature_c": TEMPERATURES_C[month],
            }
        )
    )


def _glm_design(told: pd.DataFrame, levels: dict[str, list[str]]) -> pd.DataFrame:
    columns: dict[str, Floats] = {"intercept": np.ones(len(told))}
    for name, known in levels.items():
        values = told[name].to_numpy()
        columns |= {f"{name} {level}": (values == level).astype(float) for level in known[1:]}
    numbers = [name for name in told if told[name].dtype == float]
    return pd.DataFrame(columns | {name: told[name].to_numpy() for name in numbers})


def _angler_columns(columns: pd.Index) -> Codes:
    return np.flatnonzero(columns.str.startswith("angler "))


def _log_mean_of_anglers(columns: pd.Index, coefficients: Floats) -> float:
    """Log of the mean multiplier, less its linear part, which `_averaged_over_anglers` puts in the rows."""
    effects = np.append(coefficients[_angler_columns(columns)], 0.0)
    share = np.exp(effects) / np.exp(effects).sum()
    return float(np.log(np.mean(np.exp(effects))) - share @ effects)


def _averaged_over_anglers(asked: Floats, columns: pd.Index, coefficients: Floats) -> Floats:
    """Rows whose product with the coefficients has the delta method's variance of the log mean."""
    at = _angler_columns(columns)
    effects = np.append(coefficients[at], 0.0)
    rows = asked.copy()
    rows[:, at] = (np.exp(effects) / np.exp(effects).sum())[:-1]
    return rows


def _water_means(values: Floats, water_of_peg: Codes) -> Floats:
    """For each peg the mean over its water's pegs: the shape of `values`, (pegs, ...)."""
    means = np.array([values[water_of_peg == code].mean(axis=0) for code in range(water_of_peg.max() + 1)])
    return means[water_of_peg]


def _standard_errors(rows: Floats, covariance: Floats) -> Floats:
    return np.sqrt(np.einsum("ij,ij->i", rows @ covariance, rows))
