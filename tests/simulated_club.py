"""An invented club whose truth is known, so that a fit can be held against it.

Standard deviations, log scale: water .35; peg .35, autocorrelated along the bank with .6; angler .45;
bait .25 with a yearly swing of .28 and .06 by month; match day .30; rig type .15. Season ±.60 with a
second harmonic of .12; distance a parabola 6 m wide whose best moves from 6 m in summer to 11 m in
winter; water temperature a parabola about 17 °C; strong wind -.25; match -.10. Tweedie power 1.55,
dispersion 1.25 in kg. Half the returns are matches with drawn pegs; in pleasure sessions the better
anglers find the better pegs, and bait follows habit and season.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

POWER = 1.55
DISPERSION_KG = 1.25
BAITS = ("bread", "caster", "corn", "maggot", "meat", "pellet", "pinkie", "worm")
RIGS = ("bulk", "loose", "spread", "tapered")
FIRST_DAY = np.datetime64("2019-01-01")
MEDIAN_KG_PER_HOUR = 0.6
MATCH_SIZE = 15


@dataclass(frozen=True)
class Truth:
    """The effects behind the returns, log scale: by peg, angler, and bait by month (8, 12)."""

    peg: NDArray[np.float64]
    water_of_peg: NDArray[np.int64]
    angler: NDArray[np.float64]
    bait_month: NDArray[np.float64]
    rig: NDArray[np.float64]
    water: NDArray[np.float64]


@dataclass(frozen=True)
class SimulatedClub:
    """Returns as the fit takes them, and the truth they came from."""

    frame: pd.DataFrame
    truth: Truth


def simulate_club(
    seed: int, returns: int = 3000, *, pegs: int = 60, anglers: int = 50, waters: int = 2, years: int = 4
) -> SimulatedClub:
    """A club of the given size; the same seed gives the same club."""
    rng = np.random.default_rng(seed)
    truth = _truth(rng, pegs, anglers, waters)
    matches = returns // 2 // MATCH_SIZE
    match = np.concatenate([np.repeat(np.arange(matches), MATCH_SIZE)])
    match = np.concatenate([match, np.full(returns - len(match), -1)])
    is_match = match >= 0
    day = rng.integers(0, 365 * years, returns)
    day[is_match] = rng.integers(0, 365 * years, matches)[match[is_match]]
    date = FIRST_DAY + day
    month = pd.DatetimeIndex(date).month.to_numpy()
    phase = 2 * np.pi * (pd.DatetimeIndex(date).day_of_year.to_numpy() - 200) / 365.25
    angler = rng.integers(0, anglers, returns)
    peg = _pegs(rng, truth, angler, is_match)
    bait = _baits(rng, truth, angler, month)
    rig = rng.integers(0, len(RIGS), returns)
    distance = np.round(np.clip(rng.normal(9, 3, returns), 3, 14.5) * 2) / 2
    wind = rng.integers(0, 8, returns).astype(float)
    temperature = np.round(11.5 + 8 * np.cos(phase) + rng.normal(0, 2, returns), 1)
    hours = np.where(is_match, 5.0, np.round(rng.uniform(1.5, 12, returns) * 2) / 2)
    days = rng.normal(0, 0.30, matches + 1)
    days[-1] = 0.0
    eta = (
        np.log(MEDIAN_KG_PER_HOUR)
        + truth.water[truth.water_of_peg[peg]]
        + truth.peg[peg]
        + truth.angler[angler]
        + truth.bait_month[bait, month - 1]
        + truth.rig[rig]
        + days[match]
        - 0.10 * is_match
        - 0.25 * (wind >= 6)
        + 0.60 * np.cos(phase)
        + 0.12 * np.cos(2 * phase)
        - 0.5 * ((distance - 8.5 + 2.5 * np.cos(phase)) / 6) ** 2
        - 0.45 * ((temperature - 17) / 10) ** 2
    )
    weight = np.round(draw_tweedie(rng, hours * np.exp(eta)) * 100) * 10
    frame = pd.DataFrame(
        {
            "fished_on": pd.to_datetime(date),
            "water": [f"water {truth.water_of_peg[code]}" for code in peg],
            "peg": [f"peg {code:02d}" for code in peg],
            "peg_order": peg.astype(float),
            "angler": [f"angler {code:02d}" for code in angler],
            "hook_bait": _with_gaps(rng, np.array(BAITS, dtype=object)[bait], 0.04),
            "rig_type": _with_gaps(rng, np.array(RIGS, dtype=object)[rig], 0.04),
            "wind_force": np.where(rng.random(returns) < 0.05, np.nan, wind),
            "water_temperature_c": np.where(rng.random(returns) < 0.10, np.nan, temperature),
            "distance_m": np.where(rng.random(returns) < 0.04, np.nan, distance),
            "hours": hours,
            "is_match": is_match,
            "match_day": [f"match {code:03d}" if code >= 0 else None for code in match],
            "weight_g": weight,
            "outcome": np.where(weight > 0, "weighed", "blank"),
        }
    )
    return SimulatedClub(frame.sample(frac=1, random_state=seed, ignore_index=True), truth)


def draw_tweedie(rng: np.random.Generator, mean_kg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights in kg: a Poisson number of fish, each with a gamma weight (Jørgensen 1987)."""
    fish = rng.poisson(mean_kg ** (2 - POWER) / (DISPERSION_KG * (2 - POWER)))
    shape = (2 - POWER) / (POWER - 1)
    scale = DISPERSION_KG * (POWER - 1) * mean_kg ** (POWER - 1)
    return np.where(fish > 0, rng.gamma(np.maximum(fish, 1) * shape) * scale, 0.0)


def _truth(rng: np.random.Generator, pegs: int, anglers: int, waters: int) -> Truth:
    water_of_peg = np.arange(pegs) * waters // pegs
    peg = rng.normal(0, 0.35, pegs)
    for code in range(1, pegs):
        if water_of_peg[code] == water_of_peg[code - 1]:
            peg[code] = 0.6 * peg[code - 1] + np.sqrt(1 - 0.6**2) * peg[code]
    months = np.arange(12)
    swing = rng.normal(0, 0.28, (len(BAITS), 1)) * np.cos(
        2 * np.pi * (months - rng.uniform(0, 12, (len(BAITS), 1))) / 12
    )
    bait = rng.normal(0, 0.25, (len(BAITS), 1)) + swing + rng.normal(0, 0.06, (len(BAITS), 12))
    return Truth(
        peg=peg,
        water_of_peg=water_of_peg,
        angler=rng.normal(0, 0.45, anglers),
        bait_month=bait,
        rig=rng.normal(0, 0.15, len(RIGS)),
        water=rng.normal(0, 0.35, waters),
    )


def _pegs(
    rng: np.random.Generator, truth: Truth, angler: NDArray[np.int64], is_match: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Drawn in matches; in pleasure sessions chosen, the better angler the better."""
    appeal = 6.0 * np.outer(truth.angler[angler], truth.peg) * ~is_match[:, None]
    return np.argmax(appeal + rng.gumbel(size=appeal.shape), axis=1)


def _baits(
    rng: np.random.Generator, truth: Truth, angler: NDArray[np.int64], month: NDArray[np.int64]
) -> NDArray[np.int64]:
    """By habit, by skill, and by what is known of the season."""
    habit = rng.normal(0, 1, (len(truth.angler), len(BAITS)))
    appeal = habit[angler] + 2.0 * truth.bait_month[:, month - 1].T * (1 + truth.angler[angler])[:, None]
    return np.argmax(appeal + rng.gumbel(size=appeal.shape), axis=1)


def _with_gaps(rng: np.random.Generator, values: NDArray[np.object_], share: float) -> NDArray[np.object_]:
    return np.where(rng.random(len(values)) < share, None, values)
