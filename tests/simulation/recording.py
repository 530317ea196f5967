"""From what was caught to what a club's ledger says of it."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.simulation.harder import POUND_G, Harder
from tests.simulation.truth import BAITS, RIGS

MISSING_BAIT_SHARE, MISSING_RIG_SHARE, MISSING_DISTANCE_SHARE, MISSING_WIND_SHARE = 0.04, 0.04, 0.04, 0.05


def as_recorded(rng: np.random.Generator, rows: pd.DataFrame, harder: Harder) -> pd.DataFrame:
    """The frame that the fit takes: weights as told, outcomes, and gaps; one row a part of a session."""
    session = rows["session"].to_numpy()
    weight, outcome, bound = _weights(rng, rows.drop_duplicates("session"), harder)
    frame = pd.DataFrame(
        {
            "fished_on": rows["date"],
            "water": [f"water {code}" for code in rows["water"]],
            "peg": [f"peg {code:02d}" for code in rows["peg"]],
            "peg_order": rows["peg"].astype(float),
            "angler": [f"angler {code:02d}" for code in rows["angler"]],
            "hook_bait": _named(rng, rows["bait"], BAITS, MISSING_BAIT_SHARE),
            "rig_type": _named(rng, rows["rig"], RIGS, MISSING_RIG_SHARE),
            "wind_force": _with_gaps(rng, rows, "wind", MISSING_WIND_SHARE),
            "water_temperature_c": _with_gaps(rng, rows, "temperature_c", harder.missing_temperature_share),
            "distance_m": rows["distance_m"].mask(rng.random(len(rows)) < MISSING_DISTANCE_SHARE),
            "hours": rows["hours"],
            "is_match": rows["match"] >= 0,
            "match_day": [f"match {code:03d}" if code >= 0 else None for code in rows["match"]],
            "weight_g": weight[session],
            "outcome": outcome[session],
        }
    )
    if harder.did_not_weigh_share or harder.net_limit_g is not None:
        frame["bound_g"] = bound[session]
    if harder.two_part_share:
        frame["session"] = [f"session {code:05d}" for code in session]
    forgotten = rng.random(session.max() + 1) < harder.blanks_not_handed_in_share
    blank_pleasure = (frame["outcome"] == "blank") & ~frame["is_match"]
    return frame[~(blank_pleasure & forgotten[session])]


def _weights(
    rng: np.random.Generator, sessions: pd.DataFrame, harder: Harder
) -> tuple[NDArray[np.float64], NDArray[np.object_], NDArray[np.float64]]:
    """Weight in grams (NaN where not known), outcome and bound in grams, by session."""
    caught = sessions["weight_g"].to_numpy()
    weight = np.round(caught / harder.resolution_g) * harder.resolution_g
    heaped = (rng.random(len(weight)) < harder.heaped_share) & (caught >= POUND_G / 2)
    weight = np.where(heaped, np.round(caught / POUND_G) * POUND_G, weight)
    outcome = np.where(weight > 0, "weighed", "blank").astype(object)
    outcome[(weight > 0) & sessions["estimated"].to_numpy()] = "estimated"
    bound = np.full(len(weight), np.nan)
    if harder.net_limit_g is not None:
        over = weight > harder.net_limit_g
        outcome[over] = "over_net_limit"
        weight[over] = bound[over] = harder.net_limit_g
    poor = weight <= harder.poor_bag_g
    tipped_back = poor & (rng.random(len(weight)) < harder.did_not_weigh_share)
    outcome[tipped_back] = "did_not_weigh"
    weight[tipped_back], bound[tipped_back] = np.nan, harder.poor_bag_g
    return weight, outcome, bound


def _named(
    rng: np.random.Generator, codes: pd.Series, names: tuple[str, ...], missing_share: float
) -> NDArray[np.object_]:
    values = np.array(names, dtype=object)[codes]
    return np.where(rng.random(len(values)) < missing_share, None, values)


def _with_gaps(rng: np.random.Generator, rows: pd.DataFrame, name: str, share: float) -> pd.Series:
    """Conditions of a session, missing in all its parts or in none."""
    gaps = rng.random(rows["session"].max() + 1) < share
    return rows[name].mask(gaps[rows["session"]])
