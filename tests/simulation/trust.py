"""How often the rule on serving a fit refuses good ones and lets bad ones through, on invented clubs.

    uv run python -m tests.simulation.trust 300 --seeds 40

Every club is broken in each of the ways below, fitted, held against its unseen days and judged.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.catchrate.check import Check, check_fit
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.returns import usable_returns
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.trust import verdict_of
from analytics.catchrate.validation import Validation, time_ordered_validation
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder

#: Returns to pegs and anglers.
SIZES = {60: (8, 10), 300: (12, 20), 800: (24, 30), 3000: (60, 50)}
FACTORS = ("water", "peg", "angler", "hook_bait", "rig_type")
#: A harder club that is recorded as clubs record: still a good one.
HARDER = Harder(
    heaped_share=0.3,
    missing_temperature_share=0.4,
    peg_drift_sd=0.1,
    learning_per_year=0.03,
    blanks_not_handed_in_share=0.2,
    did_not_weigh_share=0.2,
    estimated_share=0.3,
)

Generator = np.random.Generator
Breaking = Callable[[pd.DataFrame, Generator], pd.DataFrame]


def as_it_is(frame: pd.DataFrame, _rng: Generator) -> pd.DataFrame:
    return frame


def worse_later(frame: pd.DataFrame, _rng: Generator) -> pd.DataFrame:
    """The last fifth of the days brings 30 % less: no fault of the fit's."""
    late = frame["fished_on"] >= frame["fished_on"].quantile(0.8)
    return frame.assign(weight_g=np.where(late, 0.7 * frame["weight_g"], frame["weight_g"]))


def permuted_weights(frame: pd.DataFrame, rng: Generator) -> pd.DataFrame:
    """Each weight stands beside another return, so that nothing is left to learn."""
    rows = rng.permutation(len(frame))
    moved = frame[["weight_g", "outcome"]].iloc[rows].set_index(frame.index)
    return frame.assign(weight_g=moved["weight_g"], outcome=moved["outcome"])


def permuted_levels(frame: pd.DataFrame, rng: Generator) -> pd.DataFrame:
    """Water, peg, angler, bait and rig of each return are those of other ones."""
    return frame.assign(**{name: rng.permutation(frame[name].to_numpy()) for name in FACTORS})


def later_levels_permuted(frame: pd.DataFrame, rng: Generator) -> pd.DataFrame:
    """As above in the last fifth of the days alone: a sheet whose columns have slipped."""
    late = (frame["fished_on"] >= frame["fished_on"].quantile(0.8)).to_numpy()
    changed = frame.copy()
    for name in FACTORS:
        values = changed[name].to_numpy(copy=True)
        values[late] = rng.permutation(values[late])
        changed[name] = values
    return changed


def wrong_effort(frame: pd.DataFrame, rng: Generator) -> pd.DataFrame:
    """Hours that have nothing to do with the session."""
    return frame.assign(hours=np.round(rng.uniform(1.5, 12.0, len(frame)) * 2) / 2)


def minutes_for_hours(frame: pd.DataFrame, rng: Generator) -> pd.DataFrame:
    """Half the rows have minutes where hours belong."""
    return frame.assign(hours=np.where(rng.random(len(frame)) < 0.5, 60.0, 1.0) * frame["hours"])


def ounces_for_grams(frame: pd.DataFrame, rng: Generator) -> pd.DataFrame:
    """Half the rows have ounces where grams belong."""
    factor = np.where(rng.random(len(frame)) < 0.5, 1.0 / 28.35, 1.0)
    return frame.assign(weight_g=factor * frame["weight_g"])


def blanks_made_up(frame: pd.DataFrame, rng: Generator) -> pd.DataFrame:
    """Two in five weights were entered as nought."""
    nought = rng.random(len(frame)) < 0.4
    return frame.assign(
        weight_g=np.where(nought, 0.0, frame["weight_g"]), outcome=np.where(nought, "blank", frame["outcome"])
    )


GOOD: dict[str, Breaking] = {"as it is": as_it_is, "30 % worse later": worse_later}
BAD: dict[str, Breaking] = {
    "weights permuted": permuted_weights,
    "levels permuted": permuted_levels,
    "levels permuted later": later_levels_permuted,
    "hours at random": wrong_effort,
    "minutes for hours in half": minutes_for_hours,
    "ounces for grams in half": ounces_for_grams,
    "two in five blank": blanks_made_up,
}


@dataclass(frozen=True)
class Judged:
    """A club's fit as found; refused ones have no check."""

    club: str
    check: Check | None
    validation: Validation | Refusal

    @property
    def code(self) -> str:
        return "refused" if self.check is None else verdict_of(self.check, self.validation).code


def judge(club: str, frame: pd.DataFrame, seed: int) -> Judged:
    spec = CatchSpec()
    found = fit_catch(frame, spec)
    if isinstance(found, Refusal):
        return Judged(club, None, found)

    def again(early: pd.DataFrame, spec: CatchSpec) -> Estimates | Refusal:
        return fit_catch(early, spec, None, found, warm_effects=False)

    check = check_fit(found, usable_returns(frame, spec))
    return Judged(club, check, time_ordered_validation(frame, spec, again, seed))


def judged_clubs(size: int, seeds: int) -> Iterator[Judged]:
    pegs, anglers = SIZES[size]
    for seed in range(seeds):
        frame = simulate_club(seed, size, pegs=pegs, anglers=anglers).frame
        for name, breaking in (GOOD | BAD).items():
            broken = breaking(frame, np.random.default_rng([seed, 9]))
            yield judge(name, broken.reset_index(drop=True), seed)
        harder = simulate_club(seed, size, pegs=pegs, anglers=anglers, harder=HARDER).frame
        yield judge("recorded as clubs do", harder.reset_index(drop=True), seed)


def main() -> None:
    """One row a kind of club: how many of each verdict."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("size", type=int, choices=SIZES)
    parser.add_argument("--seeds", type=int, default=20)
    chosen = parser.parse_args()
    codes: dict[str, Counter[str]] = {}
    for item in judged_clubs(chosen.size, chosen.seeds):
        codes.setdefault(item.club, Counter())[item.code] += 1
    for club, counts in codes.items():
        told = ", ".join(f"{code} {count}" for code, count in counts.most_common())
        sys.stdout.write(f"{chosen.size:>5} returns, {club}: {told}\n")


if __name__ == "__main__":
    main()
