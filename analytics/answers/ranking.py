"""Choices by expected weight: what may be offered, the best of each bait, and joint draws of those."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import exp, log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.answers.choices import (
    Alternative,
    Choice,
    Driver,
    Evidence,
    OneSession,
    Percentile,
    lb_oz,
)
from analytics.answers.knowledge import Part, how_much_we_know, part_of, worth_trying
from analytics.answers.question import Tackle
from analytics.answers.scene import Offers, Scene
from analytics.answers.support import NOBODY, STEP_M, STEPS, Tally
from analytics.catchrate.predict import (
    NORMAL_75,
    NORMAL_95,
    Expected,
    Questions,
    expectation,
    log_mean_draws,
    log_means,
    multiplier_errors,
)
from analytics.catchrate.predictive import SessionOutlook, session_outlook
from analytics.catchrate.questions import ask
from analytics.catchrate.spec import LABELS
from analytics.catchrate.terms import NO_LEVEL

#: Distances that are expected to give at least this share of the best one's weight are as good.
AS_GOOD = 0.95
MOST_ALTERNATIVES = 2
DRAWS = 1000


@dataclass(frozen=True, slots=True, eq=False)
class _Figures:
    """The numbers of the leading choices, (n,) each or (n, …)."""

    expected: Expected
    weights: Mapping[str, NDArray[np.float64]]
    errors: Mapping[str, NDArray[np.float64]]
    outlook: SessionOutlook
    chance_best: NDArray[np.float64]
    beats_first: NDArray[np.float64]
    best_g: float


def rank(scene: Scene) -> tuple[Choice, ...]:
    """One choice a bait of what may be offered, the heaviest expectation first."""
    offered = scene.offered
    grid = _grid(scene, offered)
    best = [(bait, *_heaviest(grid[bait])) for bait in sorted(set(offered.baits.tolist()))]
    best.sort(key=lambda place: -grid[place])
    leading = np.array(best)
    rigs = np.where(leading[:, 1] == len(scene.support.rigs), NO_LEVEL, leading[:, 1])
    steps = np.where(leading[:, 2] == STEPS, NO_LEVEL, leading[:, 2])
    figures = _figures(scene, scene.questions(leading[:, 0], rigs, steps))
    return tuple(_choice(scene, grid, place, number, figures) for number, place in enumerate(best))


def _grid(scene: Scene, offered: Offers) -> NDArray[np.float64]:
    """Expected weights (baits, rig types + 1, steps + 1), nothing where there is no offer."""
    support = scene.support
    grid = np.zeros((len(support.baits), len(support.rigs) + 1, STEPS + 1))
    questions = scene.questions(offered.baits, offered.rigs, offered.steps)
    # A rig type or step of -1 is the last place.
    grid[offered.baits, offered.rigs, offered.steps] = np.exp(log_means(scene.estimates, questions))
    return grid


def _heaviest(of_bait: NDArray[np.float64]) -> tuple[int, int]:
    rig, step = np.unravel_index(int(np.argmax(of_bait)), of_bait.shape)
    return int(rig), int(step)


def _figures(scene: Scene, questions: Questions) -> _Figures:
    """From one set of joint draws: who leads or beats the first, what is given up, what a session brings."""
    estimates = scene.estimates
    asked = ask(estimates, questions)
    drawn = log_mean_draws(estimates, asked, DRAWS, scene.seed, apart=True)
    means = np.exp(drawn)
    highest = means.max(axis=0)
    expected = expectation(estimates, asked)
    lower_50, upper_50 = expected.interval(NORMAL_75)
    weights = {
        "expected": expected.mean_g,
        "lower": expected.lower_g,
        "upper": expected.upper_g,
        "lower_50": lower_50,
        "upper_50": upper_50,
        "regret": (highest - means).mean(axis=1),
    }
    return _Figures(
        expected=expected,
        weights=weights,
        errors=multiplier_errors(estimates, asked),
        outlook=session_outlook(estimates, asked, drawn, scene.seed),
        chance_best=np.bincount(means.argmax(axis=0), minlength=len(means)) / DRAWS,
        beats_first=(means > means[0]).mean(axis=1),
        best_g=float(highest.mean()),
    )


def _choice(
    scene: Scene, grid: NDArray[np.float64], place: tuple[int, int, int], number: int, figures: _Figures
) -> Choice:
    bait, rig, step = place
    numbers = _numbers(figures, number)
    evidence, near = _evidence(scene, place)
    known = how_much_we_know(
        near=near,
        in_month=evidence.in_month,
        upper_over_lower=numbers["upper_g"] / numbers["lower_g"],
        latest=scene.latest,
    )
    good_from, good_to = _as_good(grid[bait, rig], step)
    return Choice(
        hook_bait=scene.tackle[scene.support.baits[bait]],
        distance_m=_metres(step),
        good_from_m=_metres(good_from),
        good_to_m=_metres(good_to),
        rig_type=_rig(scene, rig),
        one_session=_one_session(figures.outlook, number),
        how_much_we_know=known,
        worth_trying=worth_trying(
            known=known,
            chance_beats_first=numbers["chance_beats_first"],
            upper_g=numbers["upper_g"],
            first_g=float(figures.expected.mean_g[0]),
        ),
        evidence=evidence,
        drivers=_drivers(figures, number),
        alternatives=_alternatives(scene, grid[bait], rig),
        **numbers,
    )


def _numbers(figures: _Figures, number: int) -> dict[str, Any]:
    """The numbers of a choice, as `Choice` names them."""
    expected = figures.expected
    found: dict[str, Any] = {}
    for name, values in figures.weights.items():
        found[f"{name}_g"] = float(values[number])
        found[f"{name}_lb_oz"] = lb_oz(float(values[number]))
    return {
        **found,
        "chance_best": float(figures.chance_best[number]),
        "chance_beats_first": None if number == 0 else float(figures.beats_first[number]),
        "regret_share": found["regret_g"] / figures.best_g,
        "hours": float(expected.hours[number]),
        "base_g_per_hour": expected.base_g_per_hour,
    }


def _one_session(outlook: SessionOutlook, number: int) -> OneSession:
    weights = zip(outlook.levels, outlook.weights_g[number].tolist(), strict=True)
    percentiles = tuple(Percentile(level, weight, lb_oz(weight)) for level, weight in weights)
    return OneSession(percentiles, float(outlook.blank[number]))


def _as_good(weights: NDArray[np.float64], step: int) -> tuple[int, int]:
    """The ends of the unbroken stretch of steps around the best that is as good."""
    enough = weights >= AS_GOOD * weights[step]
    if step == STEPS:
        return step, step
    first = last = step
    while first > 0 and enough[first - 1]:
        first -= 1
    while last < STEPS - 1 and enough[last + 1]:
        last += 1
    return first, last


def _evidence(scene: Scene, place: tuple[int, int, int]) -> tuple[Evidence, Tally]:
    """What stands behind a choice, and the tally by which the word for it goes."""
    (bait, rig, step), support, behind = place, scene.support, scene.behind
    code, peg, month = support.baits[bait], scene.peg, scene.setting.when.month
    rig_code = None if rig == len(support.rigs) else support.rigs[rig]
    near_step = None if step == STEPS else int(support.near[bait, step])
    on_water = support.on_water(bait)
    nearby = (
        behind.bait.get(code, NOBODY) if near_step is None else behind.bait_near.get((code, step), NOBODY)
    )
    tallies = {
        ("bait", "this bait on this water"): behind.bait.get(code, NOBODY),
        ("bait_month", "this bait in this month"): behind.bait_month.get((code, month), NOBODY),
        ("distance", "this bait within 1 m of it"): None if near_step is None else nearby,
        ("rig_type", "this bait on this rig type"): (
            None if rig_code is None else behind.bait_rig.get((code, rig_code), NOBODY)
        ),
        ("peg", "this bait at this peg"): None if peg is None else behind.bait_peg.get((peg, code), NOBODY),
    }
    parts: tuple[Part, ...] = tuple(
        part_of(name, label, tally) for (name, label), tally in tallies.items() if tally is not None
    )
    evidence = Evidence(
        on_water=on_water,
        on_peg=None if peg is None else behind.bait_peg.get((peg, code), NOBODY).returns,
        in_month=behind.bait_month.get((code, month), NOBODY).returns,
        near_distance=near_step,
        on_rig_type=on_water if rig_code is None else int(support.on_rig[bait, rig]),
        parts=parts,
    )
    return evidence, replace(nearby, returns=on_water if near_step is None else near_step)


def _drivers(figures: _Figures, number: int) -> tuple[Driver, ...]:
    """Every multiplier that is not exactly one, or not known to be, the strongest first."""
    found = [
        _driver(name, float(values[number]), float(figures.errors[name][number]))
        for name, values in figures.expected.multipliers.items()
        if float(values[number]) != 1.0 or float(figures.errors[name][number]) > 0.0
    ]
    return tuple(sorted(found, key=lambda driver: -abs(log(driver.multiplier))))


def _driver(name: str, multiplier: float, error: float) -> Driver:
    half, most = exp(NORMAL_75 * error), exp(NORMAL_95 * error)
    ends = (multiplier / half, multiplier * half, multiplier / most, multiplier * most)
    return Driver(name, LABELS.get(name, name), multiplier, *ends)


def _alternatives(scene: Scene, of_bait: NDArray[np.float64], best: int) -> tuple[Alternative, ...]:
    """The bait on its other rig types, (rig types + 1, steps + 1), the heaviest first."""
    steps, weights = of_bait.argmax(axis=1), of_bait.max(axis=1)
    others = [rig for rig in np.argsort(-weights, kind="stable").tolist() if rig != best and weights[rig] > 0]
    return tuple(
        Alternative(
            _metres(int(steps[rig])), _rig(scene, rig), float(weights[rig]), lb_oz(float(weights[rig]))
        )
        for rig in others[:MOST_ALTERNATIVES]
    )


def _rig(scene: Scene, rig: int) -> Tackle | None:
    return None if rig == len(scene.support.rigs) else scene.tackle[scene.support.rigs[rig]]


def _metres(step: int) -> float | None:
    return None if step == STEPS else step * STEP_M
