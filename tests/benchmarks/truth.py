"""How near the catch model comes to the truth of invented clubs, beside raw means and a plain GLM.

`uv run python -m tests.benchmarks.truth --returns 3000 --jobs 2`
`uv run python -m tests.benchmarks.truth --seeds 20 --harder resolution_g=453.59237 heaped_share=0.3`

Every declared seed is one club and one line, failures among them; then the means with their 95 %
Monte-Carlo intervals. A target is met when no club failed and the interval reaches it.
"""

import argparse
import dataclasses
import json
import math
import os
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

# One thread of linear algebra in each process, unless the caller says otherwise. Read when NumPy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("MKL_NUM_THREADS", "1")

import numpy as np
from scipy.stats import t as student
from tqdm import tqdm

from tests.simulation.club import SimulatedClub, simulate_club
from tests.simulation.harder import Harder
from tests.simulation.scores import MEASURES, Scores, score_club, score_plain_glm, score_raw_mean
from tests.simulation.seeds import SEEDS

METHODS: dict[str, Callable[[SimulatedClub], Scores]] = {
    "raw mean": score_raw_mean,
    "plain GLM": score_plain_glm,
    "catch model": score_club,
}
OURS = "catch model"
WORDS = {
    "peg_form": "peg form, Spearman within water",
    "bait_share": "recommended bait, share of the best",
    "worst_month": "the same, worst month",
    "peg_coverage": "coverage of 90 %, peg effects",
    "weight_coverage": "coverage of 90 %, expected weights",
}
#: By number of returns: at least, and at most, what the catch model must reach.
TARGETS = {
    3000: {"peg_form": (0.89, 1.0), "bait_share": (0.98, 1.0), "worst_month": (0.86, 1.0)},
    800: {"peg_form": (0.735, 1.0), "bait_share": (0.92, 1.0), "worst_month": (0.70, 1.0)},
}
COVERAGE_TARGET = (0.88, 0.92)


@dataclasses.dataclass(frozen=True, slots=True)
class ClubLine:
    """One seed: its club's properties, and the scores and seconds of each method."""

    seed: int
    median_g: float
    blank_share: float
    scores: dict[str, Scores]
    seconds: dict[str, float]


@dataclasses.dataclass(frozen=True, slots=True)
class Mean:
    """A mean over clubs with its 95 % Monte-Carlo interval; NaN when there is none."""

    value: float
    lower: float
    upper: float
    clubs: int

    def meets(self, target: tuple[float, float]) -> bool:
        return self.upper >= target[0] and self.lower <= target[1]


def score_seed(seed: int, returns: int, harder: Harder) -> ClubLine:
    """One club by every method; what breaks is a failure with its name, never a missing line."""
    warnings.simplefilter("ignore")
    club = simulate_club(seed, returns, harder=harder)
    scores: dict[str, Scores] = {}
    seconds: dict[str, float] = {}
    for name, method in METHODS.items():
        started = time.perf_counter()
        try:
            scores[name] = method(club)
        except Exception as error:
            scores[name] = Scores(failure=f"{type(error).__name__}: {error}")
        seconds[name] = time.perf_counter() - started
    weight = club.frame["weight_g"]
    five_hours = weight[club.frame["hours"] == 5]
    return ClubLine(seed, float(five_hours.median()), float((weight == 0).mean()), scores, seconds)


def mean_of(values: list[float]) -> Mean:
    """The mean of the values that there are."""
    known = np.array([value for value in values if not math.isnan(value)])
    if len(known) < 2:
        return Mean(float(known.mean()) if len(known) else math.nan, math.nan, math.nan, len(known))
    half = student.ppf(0.975, len(known) - 1) * known.std(ddof=1) / math.sqrt(len(known))
    return Mean(float(known.mean()), float(known.mean() - half), float(known.mean() + half), len(known))


def means(lines: list[ClubLine], measure: str) -> dict[str, Mean]:
    """By method, and the paired gain of the catch model over each other method."""
    by_method = {name: [getattr(line.scores[name], measure) for line in lines] for name in METHODS}
    gains = {
        f"gain over {name}": mean_of(
            [ours - other for ours, other in zip(by_method[OURS], values, strict=True)]
        )
        for name, values in by_method.items()
        if name != OURS
    }
    return {name: mean_of(values) for name, values in by_method.items()} | gains


def target_of(measure: str, returns: int) -> tuple[float, float] | None:
    if returns not in TARGETS:
        return None
    return TARGETS[returns].get(measure, COVERAGE_TARGET)


def verdict(found: Mean, target: tuple[float, float] | None, failures: int) -> str:
    if target is None:
        return "no target for this number of returns"
    wanted = f">= {target[0]:g}" if target[1] == 1.0 else f"{target[0]:g} to {target[1]:g}"
    if failures or not found.meets(target):
        return f"{wanted}: NOT MET"
    return f"{wanted}: met" + ("" if target[0] <= found.value <= target[1] else " within Monte-Carlo error")


def line_text(line: ClubLine) -> str:
    parts = []
    for name, scores in line.scores.items():
        numbers = " ".join(f"{getattr(scores, measure):.3f}" for measure in MEASURES)
        parts.append(f"{name}: {scores.failure or numbers} ({line.seconds[name]:.1f} s)")
    return f"seed {line.seed:3d} | " + " | ".join(parts)


def table(lines: list[ClubLine], returns: int) -> Iterator[str]:
    failures = {name: sum(line.scores[name].failure is not None for line in lines) for name in METHODS}
    yield f"{len(lines)} clubs, failures: " + ", ".join(f"{name} {n}" for name, n in failures.items())
    medians, blanks = [line.median_g for line in lines], [line.blank_share for line in lines]
    yield f"median weight in five hours {np.mean(medians):.0f} g, blanks {np.mean(blanks):.1%}"
    for measure in MEASURES:
        found = means(lines, measure)
        yield f"{WORDS[measure]}   {verdict(found[OURS], target_of(measure, returns), failures[OURS])}"
        for name, item in found.items():
            if item.clubs:
                yield f"    {name:20s} {item.value:+.3f}  ({item.lower:+.3f} to {item.upper:+.3f})"


def run(seeds: tuple[int, ...], returns: int, harder: Harder, jobs: int) -> Iterator[ClubLine]:
    """The seeds in order, in worker processes that inherit the number of threads."""
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        yield from pool.map(partial(score_seed, returns=returns, harder=harder), seeds)


def harder_of(options: list[str]) -> Harder:
    """`name=value` options as the ways to be harder.

    :raises ValueError: an option is not `name=number`, or has no such name.
    """
    values: dict[str, Any] = {}
    known = {field.name for field in dataclasses.fields(Harder)}
    for option in options:
        name, _, number = option.partition("=")
        if name not in known:
            raise ValueError(f"{name} is none of {', '.join(sorted(known))}")
        values[name] = float(number)
    return Harder(**values)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--returns", type=int, default=3000, help="a club; 3000 and 800 have targets")
    parser.add_argument("--seeds", type=int, default=len(SEEDS), help="the first so many declared seeds")
    parser.add_argument("--jobs", type=int, default=2, help="worker processes")
    parser.add_argument("--harder", nargs="*", default=[], metavar="NAME=VALUE", help="see Harder")
    parser.add_argument("--json", type=Path, help="write every number here as well")
    options = parser.parse_args()
    try:
        harder = harder_of(options.harder)
    except ValueError as error:
        parser.error(str(error))
    seeds = SEEDS[: options.seeds]
    print(f"{options.returns} returns; {harder}\nby method: {', '.join(MEASURES)}")
    lines = []
    for line in tqdm(run(seeds, options.returns, harder, options.jobs), total=len(seeds), disable=None):
        tqdm.write(line_text(line))
        lines.append(line)
    print("\n".join(table(lines, options.returns)))
    if options.json:
        summary = {
            name: {k: dataclasses.asdict(v) for k, v in means(lines, name).items()} for name in MEASURES
        }
        document = {"returns": options.returns, "harder": dataclasses.asdict(harder), "means": summary}
        document["clubs"] = [dataclasses.asdict(line) for line in lines]
        options.json.write_text(json.dumps(_finite(document), indent=1, allow_nan=False) + "\n")


def _finite(value: Any) -> Any:
    """JSON has no NaN: what is not known is null."""
    if isinstance(value, dict):
        return {name: _finite(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and math.isnan(value) else value


if __name__ == "__main__":
    main()
