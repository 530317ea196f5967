"""Peg form of clubs whose truth is known, beside what the raw means of the same returns say.

Measured when this was written: Spearman's rho with the truth .915 on average over ten waters, of raw means
.745; 90 % and 50 % intervals held the truth of 200 pegs at .895 and .540.
"""

from datetime import date

import numpy as np
import pytest
from scipy.stats import spearmanr

from analytics.answers.peg_form import PegForm, PegFormQuestion, peg_form
from tests.simulation.club import SimulatedClub, simulate_club
from tests.simulation.stored import StoredClub, fit_now, store_club

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

#: Named before the first run; none is chosen for what it gives.
SEEDS = (101, 102, 103, 104, 105)
TODAY = date(2024, 6, 1)


def invented(seed: int) -> tuple[SimulatedClub, StoredClub]:
    club = simulate_club(seed, returns=1500, pegs=40, anglers=30, waters=2, years=3)
    # A thermometer in a water: the record takes nothing colder.
    frame = club.frame.assign(water_temperature_c=club.frame["water_temperature_c"].clip(lower=0.0))
    stored = store_club(f"heron-{seed}", frame)
    fit_now(stored.club)
    return club, stored


def forms_of(stored: StoredClub) -> list[PegForm]:
    return [
        peg_form(club=stored.club, question=PegFormQuestion(water=water.uid), today=TODAY, sees_all=True)
        for water in stored.waters.values()
    ]


def test_peg_form_ranks_pegs_nearer_the_truth_than_raw_means_do() -> None:
    ours, raw, held_90, held_50, pegs = [], [], 0, 0, 0
    for seed in SEEDS:
        club, stored = invented(seed)
        for form in forms_of(stored):
            truth = np.array([club.truth.peg[int(item.peg.label[-2:])] for item in form.pegs])
            at = [item.standing for item in form.pegs]
            rates = [item.record.raw_g_per_hour for item in form.pegs]
            ours.append(spearmanr(truth, [item.multiplier for item in at]).statistic)
            raw.append(spearmanr(truth, rates).statistic)
            ratio = np.exp(truth - truth.mean())
            pegs += len(at)
            held_90 += sum(s.lower_90 <= r <= s.upper_90 for s, r in zip(at, ratio, strict=True))
            held_50 += sum(s.lower_50 <= r <= s.upper_50 for s, r in zip(at, ratio, strict=True))
    assert np.mean(ours) > np.mean(raw) + 0.05
    assert sum(one > other for one, other in zip(ours, raw, strict=True)) >= 0.7 * len(ours)
    # Three standard errors of a share of 200 about what is promised; pegs of a club are not independent.
    assert 0.83 <= held_90 / pegs <= 0.96
    assert 0.39 <= held_50 / pegs <= 0.61
