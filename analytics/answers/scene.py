"""What ranking reads: the setting of a question, and what may be offered in it."""

from collections.abc import Container, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.answers.question import Allowed, Day, Tackle, When
from analytics.answers.support import LEAST_RETURNS, STEP_M, Behind, WaterSupport
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.predict import Questions
from analytics.catchrate.terms import NO_LEVEL, Coded

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Setting:
    """What all choices share: codes of water and peg, when, hours, session kind, the day's conditions."""

    water: str
    peg: str | None
    when: When
    hours: float
    session_kind: str
    day: Day


@dataclass(frozen=True, slots=True, eq=False)
class Offers:
    """Places in `WaterSupport` of what may be offered, (m,) each; a rig type or step of -1 is none named."""

    baits: IntArray
    rigs: IntArray
    steps: IntArray

    def __len__(self) -> int:
        return len(self.baits)


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Everything that ranking reads. `setting.peg` is the peg as the fit is asked about it, `peg` as it is;
    `tackle` names codes, `latest` is the day of the latest return of all."""

    estimates: Estimates
    support: WaterSupport
    behind: Behind
    offered: Offers
    setting: Setting
    peg: str | None
    tackle: Mapping[str, Tackle]
    latest: date
    seed: int

    def questions(self, baits: IntArray, rigs: IntArray, steps: IntArray, **changes: Any) -> Questions:
        """The setting with these places of baits, rig types and steps, (n,) each, -1 for none."""
        setting, support = self.setting, self.support
        asked: dict[str, Any] = {
            "month": setting.when.month,
            "day_of_year": setting.when.day_of_year,
            "water": setting.water,
            "peg": setting.peg,
            "hours": setting.hours,
            "session_kind": setting.session_kind,
            "wind_force": setting.day.wind_force,
            "water_temperature_c": setting.day.water_temperature_c,
            "hook_bait": Coded(baits.astype(np.int32), support.baits),
            "rig_type": Coded(rigs.astype(np.int32), support.rigs),
            "distance_m": np.where(steps == NO_LEVEL, np.nan, steps * STEP_M),
        }
        return Questions(**{**asked, **changes})


def offers(support: WaterSupport, allowed: Allowed, known: Container[str]) -> Offers:
    """What lies within the limits, of tackle that the club still knows, that returns of this water speak for.

    At least three returns with the bait within a metre of the distance, and three with it on the rig type. A
    bait that no rig type has three returns of is offered without one, unless the rig types are limited;
    whether it is fished at this time of the year is for the caller to know. Where no return of the water
    records a distance, choices name none.
    """
    bait_is = _within(support.baits, allowed.baits, known)
    rig_is = _within(support.rigs, allowed.rigs, known)
    on_rig = (support.on_rig >= LEAST_RETURNS) & rig_is
    without = ~on_rig.any(axis=1) & (allowed.rigs is None)
    if support.tells_distance:
        steps = support.steps(allowed.longest_pole_m)
        spoken_for = support.near[:, steps] >= LEAST_RETURNS
    else:
        steps = np.array([NO_LEVEL])
        spoken_for = (support.counts.sum(axis=(1, 2)) >= LEAST_RETURNS)[:, None]
    shown = np.column_stack([on_rig, without])
    baits, rigs, places = np.nonzero(bait_is[:, None, None] & shown[:, :, None] & spoken_for[:, None, :])
    return Offers(baits, np.where(rigs == len(support.rigs), NO_LEVEL, rigs), steps[places])


def _within(
    codes: tuple[str, ...], allowed: frozenset[str] | None, known: Container[str]
) -> NDArray[np.bool_]:
    return np.array(
        [code in known and (allowed is None or code in allowed) for code in codes], dtype=np.bool_
    )
