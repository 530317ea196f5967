"""The effects behind an invented club's returns, log scale.

Standard deviations: water .35; peg .35, autocorrelated along the bank with .6; angler .45; bait .25 with
a yearly swing of its own of .28 and .06 by month; match day .30; rig type .15. Season ±.60 with a second
harmonic of .12; distance a parabola 6 m wide whose best moves from 6 m in summer to 11 m in winter; water
temperature a parabola about 17 °C; strong wind -.25; match -.10. Tweedie power 1.55, dispersion 1.25 in kg.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulation.harder import Harder

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

POWER = 1.55
DISPERSION_KG = 1.25
#: Before all effects; gives a median of 3 kg in 5 h over many clubs.
BASE_KG_PER_HOUR = 1.07
BAITS = ("bread", "caster", "corn", "maggot", "meat", "pellet", "pinkie", "worm")
RIGS = ("bulk", "loose", "spread", "tapered")

WATER_SD, PEG_SD, ANGLER_SD, RIG_SD, MATCH_DAY_SD = 0.35, 0.35, 0.45, 0.15, 0.30
BAIT_SD, BAIT_SWING_SD, BAIT_MONTH_SD = 0.25, 0.28, 0.06
BANK_CORRELATION = 0.6
MATCH, STRONG_WIND = -0.10, -0.25
STRONG_WIND_FORCE = 6
SEASON, SECOND_HARMONIC = 0.60, 0.12
#: The day of the year in which the season is at its best, and the distance at its shortest.
MIDSUMMER_DAY = 200
YEAR_DAYS = 365.25


@dataclass(frozen=True, eq=False)
class Truth:
    """By peg and year (years, pegs), angler and year (years, anglers), and bait by month (8, 12)."""

    water: Floats
    water_of_peg: Codes
    peg_by_year: Floats
    angler_by_year: Floats
    bait: Floats
    bait_month: Floats
    rig: Floats

    @property
    def peg(self) -> Floats:
        """The pegs (pegs,) in the last year, the one that answers speak of."""
        return self.peg_by_year[-1]

    @property
    def angler(self) -> Floats:
        """The anglers (anglers,) in the last year."""
        return self.angler_by_year[-1]


def draw_truth(
    rng: np.random.Generator, *, pegs: int, anglers: int, waters: int, years: int, harder: Harder
) -> Truth:
    """The effects of one club."""
    water_of_peg = np.arange(pegs) * waters // pegs
    drift = rng.normal(0, 1, (years, pegs)) * harder.peg_drift_sd
    pace = rng.exponential(1, anglers) * harder.learning_per_year
    bait = rng.normal(0, BAIT_SD, len(BAITS))
    return Truth(
        water=rng.normal(0, WATER_SD, waters),
        water_of_peg=water_of_peg,
        peg_by_year=_pegs(rng, water_of_peg) + np.cumsum(drift, axis=0) - drift[0],
        angler_by_year=rng.normal(0, ANGLER_SD, anglers) + pace * np.arange(years)[:, None],
        bait=bait,
        bait_month=bait[:, None] + _swing(rng) + rng.normal(0, BAIT_MONTH_SD, (len(BAITS), 12)),
        rig=rng.normal(0, RIG_SD, len(RIGS)),
    )


def season_phase(day_of_year: Floats) -> Floats:
    """The angle of the day in the year, zero at midsummer."""
    return 2 * np.pi * (np.asarray(day_of_year, dtype=np.float64) - MIDSUMMER_DAY) / YEAR_DAYS


def usual_temperature_c(day_of_year: Floats) -> Floats:
    """The water temperature of a usual year."""
    return 11.5 + 8 * np.cos(season_phase(day_of_year))


def best_distance_m(day_of_year: Floats) -> Floats:
    """From 6 m in summer to 11 m in winter."""
    return 8.5 - 2.5 * np.cos(season_phase(day_of_year))


def conditions_effect(day_of_year: Floats, distance_m: Floats, temperature_c: Floats, wind: Floats) -> Floats:
    """Season, distance in that season, water temperature and wind."""
    phase = season_phase(day_of_year)
    return (
        SEASON * np.cos(phase)
        + SECOND_HARMONIC * np.cos(2 * phase)
        - 0.5 * ((distance_m - best_distance_m(day_of_year)) / 6) ** 2
        - 0.45 * ((np.asarray(temperature_c) - 17) / 10) ** 2
        + STRONG_WIND * (np.asarray(wind) >= STRONG_WIND_FORCE)
    )


def draw_tweedie(rng: np.random.Generator, mean_kg: Floats, dispersion_kg: Floats | float) -> Floats:
    """Weights in kg: a Poisson number of fish, each with a gamma weight (Jørgensen 1987)."""
    fish = rng.poisson(mean_kg ** (2 - POWER) / (dispersion_kg * (2 - POWER)))
    shape = (2 - POWER) / (POWER - 1)
    scale = dispersion_kg * (POWER - 1) * mean_kg ** (POWER - 1)
    return np.where(fish > 0, rng.gamma(np.maximum(fish, 1) * shape) * scale, 0.0)


def _pegs(rng: np.random.Generator, water_of_peg: Codes) -> Floats:
    """An autoregression along each water's bank, every peg with the same variance."""
    peg = rng.normal(0, PEG_SD, len(water_of_peg))
    for code in range(1, len(peg)):
        if water_of_peg[code] == water_of_peg[code - 1]:
            peg[code] = BANK_CORRELATION * peg[code - 1] + np.sqrt(1 - BANK_CORRELATION**2) * peg[code]
    return peg


def _swing(rng: np.random.Generator) -> Floats:
    """Each bait's own yearly wave (8, 12), of standard deviation BAIT_SWING_SD in every month."""
    angle = 2 * np.pi * np.arange(12) / 12
    waves = rng.normal(0, BAIT_SWING_SD, (2, len(BAITS), 1))
    return waves[0] * np.cos(angle) + waves[1] * np.sin(angle)
