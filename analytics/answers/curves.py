"""What stands around an answer, for its charts: distance in each season, and each bait month by month."""

from dataclasses import dataclass

import numpy as np

from analytics.answers.choices import Choice
from analytics.answers.question import Tackle
from analytics.answers.scene import IntArray, Scene
from analytics.answers.support import LEAST_RETURNS, NOBODY, STEP_M
from analytics.catchrate.predict import NORMAL_75, expectation, log_means
from analytics.catchrate.terms import NO_LEVEL

#: A season by the month in its middle (meteorological seasons).
SEASONS = {"winter": 1, "spring": 4, "summer": 7, "autumn": 10}
MONTHS = 12


@dataclass(frozen=True, slots=True)
class DistancePoint:
    """The expected weight at a distance with its intervals, and the returns within a metre of it."""

    distance_m: float
    expected_g: float
    lower_50_g: float
    upper_50_g: float
    lower_90_g: float
    upper_90_g: float
    returns: int


@dataclass(frozen=True, slots=True)
class SeasonCurve:
    """Expected weight by distance in the middle month of a season."""

    season: str
    points: tuple[DistancePoint, ...]


@dataclass(frozen=True, slots=True)
class BaitMonth:
    """A bait in a month (1 to 12): its expected weight, and the returns with it.

    `too_few` returns of the season are not advised on.
    """

    hook_bait: Tackle
    month: int
    expected_g: float
    returns: int
    too_few: bool


def distance_curves(scene: Scene, choice: Choice) -> tuple[SeasonCurve, ...]:
    """The choice's bait and rig type at every metre that any bait has returns of, season by season.

    By the metre: between two the fit tells distance in a season no finer. None where the water's returns
    record no distance. Water and wind are as is usual in each season.
    """
    support = scene.support
    steps = support.steps(None)
    whole = steps * STEP_M % 1.0 == 0.0
    steps = steps[whole & (support.near[:, steps].sum(axis=0) >= LEAST_RETURNS)]
    if choice.distance_m is None or not len(steps):
        return ()
    every = np.tile(steps, len(SEASONS))
    bait, rig = _places(scene, choice)
    questions = scene.questions(
        np.full(len(every), bait),
        np.full(len(every), rig),
        every,
        month=np.repeat(list(SEASONS.values()), len(steps)),
        day_of_year=None,
        water_temperature_c=None,
        wind_force=None,
    )
    expected = expectation(scene.estimates, questions)
    figures = zip(
        (every * STEP_M).tolist(),
        expected.mean_g.tolist(),
        *(end.tolist() for end in expected.interval(NORMAL_75)),
        expected.lower_g.tolist(),
        expected.upper_g.tolist(),
        support.near[:, every].sum(axis=0).tolist(),
        strict=True,
    )
    points = [DistancePoint(*figure) for figure in figures]
    return tuple(
        SeasonCurve(season, tuple(points[start : start + len(steps)]))
        for season, start in zip(SEASONS, range(0, len(points), len(steps)), strict=True)
    )


def bait_months(scene: Scene, choices: tuple[Choice, ...]) -> tuple[BaitMonth, ...]:
    """Each choice as it is offered, in every month: bait by bait, January first."""
    places = np.array([_places(scene, choice) for choice in choices])
    months = np.arange(1, MONTHS + 1)
    baits, rigs = (np.repeat(places[:, column], MONTHS) for column in (0, 1))
    questions = scene.questions(
        baits,
        rigs,
        np.repeat(_steps(choices), MONTHS),
        month=np.tile(months, len(choices)),
        day_of_year=None,
        water_temperature_c=None,
        wind_force=None,
    )
    expected = iter(np.exp(log_means(scene.estimates, questions)).tolist())
    in_season = {month: scene.behind.in_season(month) for month in range(1, MONTHS + 1)}
    found = []
    for choice in choices:
        code = choice.hook_bait.uid.hex
        for month in range(1, MONTHS + 1):
            returns = scene.behind.bait_month.get((code, month), NOBODY).returns
            too_few = code not in in_season[month]
            found.append(BaitMonth(choice.hook_bait, month, next(expected), returns, too_few))
    return tuple(found)


def _places(scene: Scene, choice: Choice) -> tuple[int, int]:
    """The places of the choice's bait and rig type, -1 for no rig type."""
    rig = NO_LEVEL if choice.rig_type is None else scene.support.rigs.index(choice.rig_type.uid.hex)
    return scene.support.baits.index(choice.hook_bait.uid.hex), rig


def _steps(choices: tuple[Choice, ...]) -> IntArray:
    steps = [
        NO_LEVEL if choice.distance_m is None else round(choice.distance_m / STEP_M) for choice in choices
    ]
    return np.array(steps, dtype=np.int64)
