"""Choices of hook bait, distance and rig type by expected weight; only those that returns speak for."""

from collections.abc import Container, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple
from uuid import UUID

import numpy as np

from analytics.answers.support import (
    LEAST_RETURNS,
    STEP_M,
    Evidence,
    WaterSupport,
    how_much_we_know,
)
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.predict import Expected, Questions, chance_best, expectation
from analytics.catchrate.spec import LABELS
from clubdata.rules.units import format_pounds_ounces

#: Distances that are expected to give at least this share of the best one's weight are as good.
AS_GOOD = 0.95
MOST_ALTERNATIVES = 2
#: Questions answered at once: the work space stays small for a club with many baits.
CHUNK = 1000


@dataclass(frozen=True, slots=True)
class Setting:
    """What all choices share: codes of water and peg, month, hours and session kind."""

    water: str
    peg: str | None
    month: int
    hours: float
    session_kind: str


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the member can do: codes of baits and rig types (None for any), pole in metres."""

    baits: frozenset[str] | None
    rigs: frozenset[str] | None
    longest_pole_m: float | None


@dataclass(frozen=True, slots=True)
class Tackle:
    """A bait or a rig type by its public id and the club's name for it."""

    uid: UUID
    name: str


@dataclass(frozen=True, slots=True)
class Driver:
    """A factor of the expected weight: 1.2 is a fifth more than the base."""

    name: str
    label: str
    multiplier: float


@dataclass(frozen=True, slots=True)
class Alternative:
    """The same bait on another rig type, at that one's best distance."""

    distance_m: float | None
    rig_type: Tackle | None
    expected_g: float
    expected_lb_oz: str


@dataclass(frozen=True, slots=True)
class Choice:
    """A hook bait with its best distance and rig type.

    `expected_g` is the mean under the stated reference, `lower_g` to `upper_g` its 90 % interval (of the
    mean: single sessions differ far more), and exactly base_g_per_hour * hours * the drivers' product.
    Every distance from `good_from_m` to `good_to_m` is expected to give at least 95 % of it.
    `chance_best` is the share of joint draws in which this choice leads the listed ones.
    """

    hook_bait: Tackle
    distance_m: float | None
    good_from_m: float | None
    good_to_m: float | None
    rig_type: Tackle | None
    expected_g: float
    expected_lb_oz: str
    lower_g: float
    lower_lb_oz: str
    upper_g: float
    upper_lb_oz: str
    chance_best: float
    how_much_we_know: str
    evidence: Evidence
    hours: float
    base_g_per_hour: float
    drivers: tuple[Driver, ...]
    alternatives: tuple[Alternative, ...]


class Option(NamedTuple):
    """Places in `WaterSupport`: a bait, a rig type and a step; None where the club records none."""

    bait: int
    rig: int | None
    step: int | None


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Everything that ranking reads; `tackle` names codes, the counts are by bait code."""

    estimates: Estimates
    support: WaterSupport
    setting: Setting
    tackle: Mapping[str, Tackle]
    in_month: Mapping[str, int]
    at_peg: Mapping[str | None, int]
    seed: int


def options(support: WaterSupport, allowed: Allowed, known: Container[str]) -> list[Option]:
    """Options within the limits, of tackle that the club still knows, that returns of this water speak for.

    At least three returns with the bait within a metre of the distance, and three with it on the rig type. A
    bait that no rig type has three returns of is offered without one, unless the rig types are limited;
    whether it is fished at this time of the year is for the caller to know.
    """
    fished = support.counts[:, :, :-1].any()
    steps: list[int | None] = [*support.steps(allowed.longest_pole_m)] if fished else [None]
    rigs = [
        place
        for place, code in enumerate(support.rigs)
        if code in known and (allowed.rigs is None or code in allowed.rigs)
    ]
    found = []
    for bait, code in enumerate(support.baits):
        if code in known and (allowed.baits is None or code in allowed.baits):
            spoken_for = [step for step in steps if support.near(bait, step) >= LEAST_RETURNS]
            shown: list[int | None] = [rig for rig in rigs if support.on_rig(bait, rig) >= LEAST_RETURNS]
            if not shown and allowed.rigs is None:
                shown = [None]
            found += [Option(bait, rig, step) for rig in shown for step in spoken_for]
    return found


def rank(scene: Scene, found: list[Option]) -> tuple[Choice, ...]:
    """One choice a bait, the heaviest expectation first."""
    means = np.concatenate(
        [
            expectation(scene.estimates, _questions(scene, found[start : start + CHUNK])).mean_g
            for start in range(0, len(found), CHUNK)
        ]
    )
    weights = dict(zip(found, means.tolist(), strict=True))
    best = {bait: _heaviest(weights, bait) for bait in sorted({option.bait for option in found})}
    leading = sorted(best.values(), key=lambda option: -weights[option])
    questions = _questions(scene, leading)
    expected = expectation(scene.estimates, questions)
    chances = chance_best(scene.estimates, questions, seed=scene.seed)
    return tuple(
        _choice(scene, option, _figures(expected, place, float(chances[place])), weights)
        for place, option in enumerate(leading)
    )


def _heaviest(weights: Mapping[Option, float], bait: int) -> Option:
    return max((option for option in weights if option.bait == bait), key=lambda option: weights[option])


def _questions(scene: Scene, asked: list[Option]) -> Questions:
    support, setting = scene.support, scene.setting
    return Questions(
        month=setting.month,
        water=setting.water,
        peg=setting.peg,
        hours=setting.hours,
        session_kind=setting.session_kind,
        hook_bait=[support.baits[option.bait] for option in asked],
        rig_type=[None if option.rig is None else support.rigs[option.rig] for option in asked],
        distance_m=[_metres(option.step) for option in asked],
    )


def _figures(expected: Expected, place: int, chance: float) -> dict[str, Any]:
    """The numbers of the choice at this place, as `Choice` names them."""
    mean, lower, upper = (
        float(values[place]) for values in (expected.mean_g, expected.lower_g, expected.upper_g)
    )
    return {
        "expected_g": mean,
        "expected_lb_oz": _lb_oz(mean),
        "lower_g": lower,
        "lower_lb_oz": _lb_oz(lower),
        "upper_g": upper,
        "upper_lb_oz": _lb_oz(upper),
        "chance_best": chance,
        "hours": float(expected.hours[place]),
        "base_g_per_hour": expected.base_g_per_hour,
        "drivers": _drivers(expected, place),
    }


def _choice(
    scene: Scene, option: Option, figures: Mapping[str, Any], weights: Mapping[Option, float]
) -> Choice:
    good_from, good_to = _as_good(option, weights)
    evidence = _evidence(scene, option)
    return Choice(
        hook_bait=scene.tackle[scene.support.baits[option.bait]],
        distance_m=_metres(option.step),
        good_from_m=_metres(good_from),
        good_to_m=_metres(good_to),
        rig_type=_rig(scene, option),
        how_much_we_know=how_much_we_know(
            near=evidence.on_water if evidence.near_distance is None else evidence.near_distance,
            in_month=evidence.in_month,
            upper_over_lower=figures["upper_g"] / figures["lower_g"],
        ),
        evidence=evidence,
        alternatives=_alternatives(scene, option, weights),
        **figures,
    )


def _as_good(option: Option, weights: Mapping[Option, float]) -> tuple[int | None, int | None]:
    """The ends of the unbroken stretch of steps around the best that is as good."""
    if option.step is None:
        return None, None
    enough = AS_GOOD * weights[option]

    def end(move: int) -> int:
        step = option.step or 0
        while weights.get(option._replace(step=step + move), 0.0) >= enough:
            step += move
        return step

    return end(-1), end(+1)


def _evidence(scene: Scene, option: Option) -> Evidence:
    support, code = scene.support, scene.support.baits[option.bait]
    return Evidence(
        on_water=support.on_water(option.bait),
        on_peg=None if scene.setting.peg is None else scene.at_peg.get(code, 0),
        in_month=scene.in_month.get(code, 0),
        near_distance=None if option.step is None else support.near(option.bait, option.step),
        on_rig_type=support.on_rig(option.bait, option.rig),
    )


def _drivers(expected: Expected, place: int) -> tuple[Driver, ...]:
    """Every multiplier that is not exactly one, the strongest first."""
    found = [
        Driver(name, LABELS.get(name, name), float(values[place]))
        for name, values in expected.multipliers.items()
        if float(values[place]) != 1.0
    ]
    return tuple(sorted(found, key=lambda driver: -abs(np.log(driver.multiplier))))


def _alternatives(scene: Scene, best: Option, weights: Mapping[Option, float]) -> tuple[Alternative, ...]:
    by_rig: dict[int | None, Option] = {}
    for option, weight in weights.items():
        known = by_rig.get(option.rig)
        if option.bait == best.bait and option.rig != best.rig and (known is None or weight > weights[known]):
            by_rig[option.rig] = option
    ordered = sorted(by_rig.values(), key=lambda option: -weights[option])[:MOST_ALTERNATIVES]
    return tuple(
        Alternative(_metres(option.step), _rig(scene, option), weights[option], _lb_oz(weights[option]))
        for option in ordered
    )


def _rig(scene: Scene, option: Option) -> Tackle | None:
    return None if option.rig is None else scene.tackle[scene.support.rigs[option.rig]]


def _metres(step: int | None) -> float | None:
    return None if step is None else step * STEP_M


def _lb_oz(weight_g: float) -> str:
    return format_pounds_ounces(round(weight_g))
