"""Returns of a club, or of a whole county, of a given size: arrays in memory, quick to draw.

The truth is that of `tests.simulation`, save that levels are as many as asked, that pegs and baits are
drawn evenly, and that as many fish a match day as the rows need. Columns are categorical, as they come
from the database.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.simulation.truth import conditions_effect, draw_tweedie, usual_temperature_c

POWER_SD = {
    "peg": 0.35,
    "angler": 0.45,
    "match_day": 0.30,
    "water": 0.35,
    "rig_type": 0.15,
    "hook_bait": 0.25,
}
DAYS_A_YEAR = 365


@dataclass(frozen=True)
class Size:
    """How many levels of each kind."""

    pegs: int
    anglers: int
    match_days: int
    waters: int = 2
    baits: int = 8
    years: int = 4


#: About 550, 1,000, 1,640 and 4,900 columns.
SIZES = {
    10_000: Size(pegs=60, anglers=50, match_days=300),
    100_000: Size(pegs=150, anglers=200, match_days=450, waters=4),
    300_000: Size(pegs=900, anglers=800, match_days=3000, waters=6),
    1_000_000: Size(pegs=350, anglers=350, match_days=720, waters=6),
    10_000_000: Size(pegs=350, anglers=350, match_days=720, waters=6),
}


def size_for(rows: int) -> Size:
    """The size of the declared case, or of the next larger."""
    return next((size for most, size in sorted(SIZES.items()) if rows <= most), SIZES[10_000_000])


def sized_frame(rows: int, seed: int, size: Size) -> pd.DataFrame:
    """Returns as `fit_catch` takes them; the same seed gives the same frame."""
    rng = np.random.default_rng(seed)
    codes = {
        "peg": rng.integers(0, size.pegs, rows),
        "angler": rng.integers(0, size.anglers, rows),
        "hook_bait": rng.integers(0, size.baits, rows),
        "rig_type": rng.integers(0, 4, rows),
    }
    is_match = rng.random(rows) < 0.5
    codes["match_day"] = np.where(is_match, rng.integers(0, size.match_days, rows), -1)
    codes["water"] = codes["peg"] * size.waters // size.pegs
    match_on = rng.integers(0, DAYS_A_YEAR * size.years, size.match_days)
    day = np.where(is_match, match_on[codes["match_day"]], rng.integers(0, DAYS_A_YEAR * size.years, rows))
    fished_on = (np.datetime64("2019-01-01") + day).astype("datetime64[s]")
    day_of_year = (day % DAYS_A_YEAR + 1).astype(np.float64)
    distance = np.clip(np.round(rng.normal(9.0, 2.5, rows) * 2) / 2, 2.0, 16.0)
    temperature = np.round(usual_temperature_c(day_of_year) + rng.normal(0, 2, rows), 1)
    wind = rng.integers(0, 8, rows).astype(np.float64)
    hours = np.where(is_match, 5.0, np.round(rng.uniform(1.5, 12.0, rows) * 2) / 2)
    eta = np.log(0.6) - 0.1 * is_match + conditions_effect(day_of_year, distance, temperature, wind)
    for name, sd in POWER_SD.items():
        effects = np.append(rng.normal(0, sd, codes[name].max() + 1), 0.0)
        eta += effects[codes[name]]
    weight = np.round(draw_tweedie(rng, hours * np.exp(eta), 1.25) * 100) * 10
    frame = pd.DataFrame({"fished_on": fished_on, "hours": hours, "is_match": is_match, "weight_g": weight})
    for name, column in codes.items():
        missing = rng.random(rows) < 0.04 if name in ("hook_bait", "rig_type") else np.zeros(rows, np.bool_)
        levels = [f"{name}{code:05d}" for code in range(column.max() + 1)]
        frame[name] = pd.Categorical.from_codes(np.where(missing, -1, column), levels)
    frame["peg_order"] = codes["peg"].astype(np.float64)
    for name, column, share in (("distance_m", distance, 0.04), ("wind_force", wind, 0.05)):
        frame[name] = np.where(rng.random(rows) < share, np.nan, column)
    frame["water_temperature_c"] = np.where(rng.random(rows) < 0.1, np.nan, temperature)
    frame["outcome"] = pd.Categorical.from_codes((weight == 0).astype(np.int8), ["weighed", "blank"])
    return frame
