"""What the API answers of invented clubs against the truth behind them, beside raw means on the same returns.

`uv run python -m tests.benchmarks.answers --returns 3000 --jobs 2`
`uv run python -m tests.benchmarks.answers --permuted --jobs 2`

Every declared seed is a club in a database: fitted by its job, asked by an HTTP client. The choices of bait,
distance and rig type are held against the true weight of each; intervals of the mean against the true mean,
and the range of one session against sessions drawn from the truth. With `--permuted` every hook bait is
given to another return at random first: then no bait is best, and a leader's chance should say so.
"""

import argparse
import logging
import math
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

# One thread of linear algebra in each process, unless the caller says otherwise. Read when NumPy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")

import numpy as np
import pandas as pd
from scipy.stats import spearmanr
from tqdm import tqdm

from analytics.catchrate.features import mid_month
from tests.benchmarks.truth import mean_of
from tests.simulation.club import SimulatedClub, simulate_club
from tests.simulation.seeds import SEEDS
from tests.simulation.truth import (
    BAITS,
    BASE_KG_PER_HOUR,
    DISPERSION_KG,
    MATCH,
    MATCH_DAY_SD,
    RIGS,
    Truth,
    conditions_effect,
    draw_tweedie,
)

HOURS = 5.0
WIND_FORCE = 3
#: Pegs of each water that are asked about, every month of each.
PEGS_ASKED = 3
#: True sessions drawn for each choice that is held against its range.
SESSIONS = 20
SURE = 0.9


WORDS = {
    "peg_form": "Spearman of the multipliers with the truth, within water",
    "peg_form_raw": "the same of the raw rates that stand beside them",
    "pegs_50": "coverage of 50 % intervals, pegs",
    "pegs_90": "coverage of 90 % intervals, pegs",
    "regret": "share of the best listed choice that the first one gives up",
    "regret_raw": "the same of the bait that the month's raw rates put first",
    "regret_claimed": "what the answers say of the first's regret",
    "means_50": "coverage of 50 % intervals, expected weights",
    "means_90": "coverage of 90 % intervals, expected weights",
    "sessions_50": "coverage of one session's 50 % range",
    "sessions_90": "coverage of one session's 90 % range",
    "blanks_said": "chance of a blank as said",
    "blanks_drawn": "blanks among the drawn sessions",
    "leader_chance": "chance to be best that the first choice is given",
    "leader_right": "how often it is (a tie counts)",
    "sure": f"share of leaders that are given {SURE:.0%} or more",
    "sure_right": "how often those are best",
    "one_in": "one over the number of choices",
    "unanswered": "share of questions without a choice",
}
MEASURES = tuple(WORDS)
Tally = defaultdict[str, list[float]]


@dataclass(slots=True)
class Found:
    """One club's figures by the names of `WORDS`; NaN where there was nothing to ask."""

    seed: int = 0
    seconds: float = math.nan
    failure: str | None = None
    figures: dict[str, float] = field(default_factory=dict)

    def figure(self, name: str) -> float:
        return self.figures.get(name, math.nan)


def open_database(template: str) -> None:
    """A worker's own copy of the empty database, and Django on top of it."""
    path = f"{template}.{os.getpid()}"
    shutil.copy(template, path)
    os.environ["DATABASE_URL"] = f"sqlite:///{path}"
    import django

    django.setup()
    logging.disable(logging.INFO)


def ask_club(seed: int, returns: int, permuted: bool) -> Found:
    """One club through the API; what breaks is a failure with its name."""
    started = time.perf_counter()
    try:
        found = _ask_club(seed, returns, permuted)
    except Exception as error:
        found = Found(failure=f"{type(error).__name__}: {error}")
    found.seed, found.seconds = seed, time.perf_counter() - started
    return found


def _ask_club(seed: int, returns: int, permuted: bool) -> Found:
    # Django must be set up before its records are read.
    from tests.simulation.asked import Asked

    club = simulate_club(seed, returns)
    if permuted:
        shuffled = club.frame["hook_bait"].sample(frac=1, random_state=seed).to_numpy()
        club = SimulatedClub(club.frame.assign(hook_bait=shuffled), _without_baits(club.truth))
    asked = Asked(f"club-{seed}", club.frame)
    rng = np.random.default_rng([seed, 11])
    tally: Tally = defaultdict(list)
    for water in sorted(asked.waters):
        _hold_pegs(asked.peg_form(water)["pegs"], club.truth, tally)
        labels = sorted(set(club.frame.loc[club.frame["water"] == water, "peg"]))
        for label in rng.choice(labels, PEGS_ASKED, replace=False):
            for month in range(1, 13):
                asked_of = {"peg": str(label), "month": month, "hours": HOURS, "session_kind": "match"}
                answer = asked.advice(water, **asked_of, wind_force=WIND_FORCE)
                _hold_choices(answer, club, rng, tally)
    return Found(figures={name: float(np.mean(values)) for name, values in tally.items()})


def _without_baits(truth: Truth) -> Truth:
    """The truth about baits that were given out at random: none has an effect of its own."""
    return replace(truth, bait_month=np.full_like(truth.bait_month, truth.bait_month.mean()))


def _hold_pegs(rows: list[dict[str, Any]], truth: Truth, tally: Tally) -> None:
    """One water's pegs: the answer's multipliers and the raw rates beside them."""
    form = truth.peg[[_peg_code(row) for row in rows]]
    for row, log_form in zip(rows, form - form.mean(), strict=True):
        standing = row["standing"]
        for share in (50, 90):
            inside = standing[f"lower_{share}"] <= np.exp(log_form) <= standing[f"upper_{share}"]
            tally[f"pegs_{share}"].append(inside)
    raw = [row["record"]["raw_g_per_hour"] or 0.0 for row in rows]
    tally["peg_form"].append(spearmanr([row["standing"]["multiplier"] for row in rows], form).statistic)
    tally["peg_form_raw"].append(spearmanr(raw, form).statistic)


def _hold_choices(
    answer: dict[str, Any], club: SimulatedClub, rng: np.random.Generator, tally: Tally
) -> None:
    """One question's choices, each at its own distance and on its own rig type."""
    choices = answer["choices"]
    if not choices:
        tally["unanswered"].append(1.0)
        return
    tally["unanswered"].append(0.0)
    truth, temperature_c = club.truth, answer["reference"]["water_temperature_c"]
    rates = np.array([_log_rate(truth, answer, choice, temperature_c) for choice in choices])
    best = rates.max()
    tally["regret"].append(1.0 - np.exp(rates[0] - best))
    tally["regret_raw"].append(1.0 - np.exp(rates[_raw_choice(answer, club.frame)] - best))
    tally["regret_claimed"].append(choices[0]["regret_share"])
    tally["leader_chance"].append(choices[0]["chance_best"])
    tally["leader_right"].append(rates[0] == best)
    tally["one_in"].append(1.0 / len(choices))
    tally["sure"].append(choices[0]["chance_best"] >= SURE)
    if choices[0]["chance_best"] >= SURE:
        tally["sure_right"].append(rates[0] == best)
    for choice, rate in zip(choices, rates, strict=True):
        mean_g = np.exp(rate + np.log(np.mean(np.exp(truth.angler))) + MATCH_DAY_SD**2 / 2)
        tally["means_50"].append(choice["lower_50_g"] <= mean_g <= choice["upper_50_g"])
        tally["means_90"].append(choice["lower_g"] <= mean_g <= choice["upper_g"])
        _hold_sessions(choice["one_session"], rate, truth, rng, tally)


def _hold_sessions(
    said: dict[str, Any], rate: float, truth: Truth, rng: np.random.Generator, tally: Tally
) -> None:
    """Sessions drawn from the truth against the range of one.

    A blank's place among the weights is drawn, as a share of blanks lies below an interval's lower end.
    """
    luck = rng.choice(truth.angler, SESSIONS) + rng.normal(0, MATCH_DAY_SD, SESSIONS)
    weight_g = 1000 * draw_tweedie(rng, np.exp(rate + luck) / 1000, np.full(SESSIONS, DISPERSION_KG))
    below = {item["share"]: item["weight_g"] for item in said["percentiles"]}
    blank = weight_g == 0
    tally["blanks_said"].append(said["chance_of_blank"])
    tally["blanks_drawn"].append(blank.mean())
    place = np.where(blank, rng.random(SESSIONS) * said["chance_of_blank"], np.nan)
    for share, lower, upper in ((50, 0.25, 0.75), (90, 0.05, 0.95)):
        weighed = (weight_g >= below[lower]) & (weight_g <= below[upper])
        inside = np.where(blank, (place >= lower) & (place <= upper), weighed)
        tally[f"sessions_{share}"].append(inside.mean())


def _log_rate(truth: Truth, answer: dict[str, Any], choice: dict[str, Any], temperature_c: float) -> float:
    """Log grams of the stated hours for an average angler on an average day, from the truth."""
    month, peg = answer["month"], _peg_code(answer)
    conditions = conditions_effect(
        mid_month(np.array([month])), np.array([choice["distance_m"]]), temperature_c, np.array([WIND_FORCE])
    )
    return float(
        np.log(1000 * BASE_KG_PER_HOUR * HOURS)
        + MATCH
        + truth.water[truth.water_of_peg[peg]]
        + truth.peg[peg]
        + truth.bait_month[BAITS.index(choice["hook_bait"]["name"]), month - 1]
        + _rig_effect(truth, choice)
        + conditions[0]
    )


def _rig_effect(truth: Truth, choice: dict[str, Any]) -> float:
    """A choice that names no rig type is of a usual one."""
    rig = choice["rig_type"]
    return float(truth.rig.mean() if rig is None else truth.rig[RIGS.index(rig["name"])])


def _raw_choice(answer: dict[str, Any], frame: pd.DataFrame) -> int:
    """The listed choice whose bait has the highest mean weight an hour of that month, over the club."""
    rows = frame[(frame["fished_on"].dt.month == answer["month"]) & frame["weight_g"].notna()]
    sums = rows.groupby("hook_bait")[["weight_g", "hours"]].sum()
    rates = (sums["weight_g"] / sums["hours"]).to_dict()
    names = [choice["hook_bait"]["name"] for choice in answer["choices"]]
    return int(np.argmax([rates.get(name, -1.0) for name in names]))


def _peg_code(row: dict[str, Any]) -> int:
    return int(row["peg"]["label"].split()[-1])


def run(seeds: tuple[int, ...], returns: int, permuted: bool, jobs: int) -> Iterator[Found]:
    """The seeds in order, each worker process on a database of its own."""
    with tempfile.TemporaryDirectory() as folder:
        template = str(Path(folder) / "empty.sqlite3")
        environment = {**os.environ, "DATABASE_URL": f"sqlite:///{template}"}
        subprocess.run(
            [sys.executable, "manage.py", "migrate", "--verbosity", "0"], env=environment, check=True
        )
        context = get_context("spawn")
        with ProcessPoolExecutor(jobs, context, initializer=open_database, initargs=(template,)) as pool:
            yield from pool.map(partial(ask_club, returns=returns, permuted=permuted), seeds)


def line_text(found: Found) -> str:
    numbers = " ".join(f"{name} {found.figure(name):.3f}" for name in MEASURES)
    return f"seed {found.seed:3d} | {found.failure or numbers} ({found.seconds:.1f} s)"


def table(lines: list[Found]) -> Iterator[str]:
    yield f"{len(lines)} clubs, {sum(line.failure is not None for line in lines)} failures"
    for name in MEASURES:
        item = mean_of([line.figure(name) for line in lines])
        yield f"    {name:16s} {item.value:.3f}  ({item.lower:.3f} to {item.upper:.3f})  {WORDS[name]}"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--returns", type=int, default=3000, help="a club")
    parser.add_argument("--seeds", type=int, default=len(SEEDS), help="the first so many declared seeds")
    parser.add_argument("--permuted", action="store_true", help="give every hook bait to another return")
    parser.add_argument("--jobs", type=int, default=2, help="worker processes")
    options = parser.parse_args()
    seeds = SEEDS[: options.seeds]
    lines = []
    every = run(seeds, options.returns, options.permuted, options.jobs)
    for found in tqdm(every, total=len(seeds), disable=None):
        tqdm.write(line_text(found))
        lines.append(found)
    print("\n".join(table(lines)))


if __name__ == "__main__":
    main()
