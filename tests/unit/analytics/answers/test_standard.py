"""Standardised catch rates: two routes to one number, and laws."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analytics.answers.scope import CLUB, month_cells, scope_of, year_cells
from analytics.answers.standard import Cell, Index, Scope, from_document, index_of, years_of
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.predict import expectation, log_mean_draws
from analytics.catchrate.questions import Questions
from tests.simulation.club import simulate_club


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(seed=11, returns=900, pegs=12, anglers=12, waters=2, years=3).frame


@pytest.fixture(scope="module")
def fit(frame: pd.DataFrame) -> Estimates:
    return fitted(frame)


def fitted(frame: pd.DataFrame) -> Estimates:
    found = fit_catch(frame)
    assert isinstance(found, Estimates)
    return found


def scope(frame: pd.DataFrame) -> Scope:
    """Both waters alike, their own pegs, and the baits as often as they were used."""
    pegs = frame.groupby("water")["peg"].agg(lambda pegs: tuple(sorted(set(pegs))))
    shares = frame["hook_bait"].value_counts(normalize=True).sort_index()
    return Scope(CLUB, dict.fromkeys(pegs.index, 0.5), dict(pegs), dict(shares))


def years(estimates: Estimates, frame: pd.DataFrame) -> Index:
    of = scope(frame)
    return index_of(estimates, of, year_cells(estimates, of, years_of(estimates)))


def test_a_months_value_is_the_mean_of_all_its_questions_asked_one_by_one(
    fit: Estimates, frame: pd.DataFrame
) -> None:
    """Every peg of a water with every bait, their logs averaged; then both waters."""
    of = scope(frame)
    index = index_of(fit, of, month_cells(of, None))
    means = []
    for water, pegs in of.pegs.items():
        grid = [(peg, bait) for peg in pegs for bait in of.baits]
        asked = Questions(
            7, water=water, peg=[peg for peg, _ in grid], hook_bait=[bait for _, bait in grid], hours=1.0
        )
        shares = np.array([of.baits[bait] / len(pegs) for _, bait in grid])
        means.append(np.exp(shares @ expectation(fit, asked).eta))
    assert math.exp(index.log_rate[6]) == pytest.approx(np.mean(means), rel=1e-12)


def test_covariance_is_that_of_joint_draws(fit: Estimates, frame: pd.DataFrame) -> None:
    """20,000 draws of every question; the standard error of a standard deviation is its 1/200."""
    of = scope(frame)
    index = index_of(fit, replace(of, pegs={}, baits={}), month_cells(of, None)[:2])
    asked = Questions(month=[1, 1, 2, 2], water=[*of.waters, *of.waters], hours=1.0, year=[None] * 4)
    draws = np.exp(log_mean_draws(fit, asked, 20_000, 3))
    logs = np.log(np.stack([draws[:2].mean(axis=0), draws[2:].mean(axis=0)]))
    np.testing.assert_allclose(logs.mean(axis=1), index.log_rate, atol=0.02)
    errors = np.sqrt(np.diag(index.covariance))
    np.testing.assert_allclose(logs.std(axis=1), errors, rtol=0.03)
    assert np.corrcoef(logs)[0, 1] == pytest.approx(index.covariance[0, 1] / errors.prod(), abs=0.01)


def test_the_chance_is_the_share_of_joint_draws(fit: Estimates, frame: pd.DataFrame) -> None:
    """Monte-Carlo error of a share of 20,000 draws: .0035 at most."""
    of = replace(scope(frame), pegs={}, baits={}, waters={"water 0": 1.0})
    later, before = years_of(fit)[1], years_of(fit)[0]
    cells = year_cells(fit, of, (before, later))
    ratio = index_of(fit, of, [replace(cell, months=(5,)) for cell in cells]).ratio(later, before)
    assert ratio is not None
    asked = Questions(5, water="water 0", year=[before, later], hours=1.0)
    draws = log_mean_draws(fit, asked, 20_000, 5)
    assert np.mean(draws[1] > draws[0]) == pytest.approx(ratio.chance_higher, abs=0.012)
    difference = draws[1] - draws[0]
    ends = np.exp(np.quantile(difference, [0.05, 0.25, 0.75, 0.95]))
    stated = [getattr(ratio.ratio, name) for name in ("lower_90", "lower_50", "upper_50", "upper_90")]
    np.testing.assert_allclose(ends, stated, rtol=0.01)


def test_weights_in_another_unit_are_the_same_index_but_for_that(fit: Estimates, frame: pd.DataFrame) -> None:
    """A law: times a thousand, every value is a thousand times higher, and no ratio or chance moves."""
    heavier = fitted(frame.assign(weight_g=frame["weight_g"] * 1000.0))
    one, other = years(fit, frame), years(heavier, frame)
    np.testing.assert_allclose(other.log_rate - one.log_rate, math.log(1000.0), atol=2e-4)
    np.testing.assert_allclose(other.covariance, one.covariance, rtol=2e-2, atol=1e-6)
    ratio, same = one.ratio("2020", "2019"), other.ratio("2020", "2019")
    assert ratio is not None and same is not None
    assert same.chance_higher == pytest.approx(ratio.chance_higher, abs=2e-3)


def test_a_year_of_twice_the_catch_shows_and_the_same_catch_does_not(frame: pd.DataFrame) -> None:
    """The year's own ratio is taken out first, so that nothing but the doubling is left to find."""
    as_it_is = years(fitted(frame), frame)
    own = as_it_is.ratio("2021", "2020")
    assert own is not None
    of_year = frame["fished_on"].dt.year == 2021
    level = frame["weight_g"].where(~of_year, (frame["weight_g"] / own.ratio.estimate).round())
    flat, double = (
        years(fitted(frame.assign(weight_g=level.where(~of_year, times * level))), frame).ratio(
            "2021", "2020"
        )
        for times in (1.0, 2.0)
    )
    assert flat is not None and double is not None
    assert 0.2 < flat.chance_higher < 0.8 and flat.ratio.estimate == pytest.approx(1.0, abs=0.1)
    assert double.chance_higher > 0.9 and double.ratio.estimate == pytest.approx(2.0, rel=0.15)


def test_a_ratio_turned_round_is_the_contrary(fit: Estimates, frame: pd.DataFrame) -> None:
    index = years(fit, frame)
    up, down = index.ratio("2020", "2019"), index.ratio("2019", "2020")
    assert up is not None and down is not None
    assert up.chance_higher + down.chance_higher == pytest.approx(1.0)
    assert up.ratio.estimate * down.ratio.estimate == pytest.approx(1.0)
    assert up.ratio.lower_90 * down.ratio.upper_90 == pytest.approx(1.0)


def test_a_ratio_is_surer_than_its_two_values(fit: Estimates, frame: pd.DataFrame) -> None:
    """What both share cancels."""
    index = years(fit, frame)
    ratio = index.ratio("2020", "2019")
    assert ratio is not None
    one, other = index.covariance[0, 0], index.covariance[1, 1]
    apart = math.log(ratio.ratio.upper_90 / ratio.ratio.estimate) / 1.6448536269514722
    assert apart**2 < 0.8 * (one + other)


def test_a_year_that_a_water_never_had_is_as_unsure_as_before_any_return(
    fit: Estimates, frame: pd.DataFrame
) -> None:
    """One unseen effect in all twelve months is not twelve of which eleven cancel."""
    of = replace(scope(frame), pegs={}, baits={}, waters={"water 0": 1.0})
    fewer = frame[~((frame["water"] == "water 0") & (frame["fished_on"].dt.year == 2019))]
    missed = fitted(fewer)
    term = missed.term("water_year")
    assert term is not None
    cells = [Cell("all", of.waters, year="2019"), Cell("one", of.waters, (6,), year="2019")]
    known = index_of(missed, of, [replace(cell, year="2020") for cell in cells])
    index = index_of(missed, of, cells)
    for place in (0, 1):
        assert index.covariance[place, place] >= term.prior_sd**2
    assert index.covariance[0, 1] >= term.prior_sd**2
    assert index.covariance[0, 0] > known.covariance[0, 0]


def test_what_is_written_is_read_again(fit: Estimates, frame: pd.DataFrame) -> None:
    index = years(fit, frame)
    again = from_document(index.to_document())
    assert again.keys == index.keys
    np.testing.assert_allclose(again.log_rate, index.log_rate, rtol=1e-9)
    np.testing.assert_allclose(again.covariance, index.covariance, rtol=1e-9, atol=1e-15)


def test_what_is_not_there_has_no_value(fit: Estimates, frame: pd.DataFrame) -> None:
    index = years(fit, frame)
    assert index.at("1999") is None and index.ratio("2020", "1999") is None
    assert index_of(fit, scope(frame), []).keys == ()


def test_the_club_counts_its_waters_by_pegs_and_its_baits_by_use(fit: Estimates) -> None:
    series: dict[str, Any] = {
        "pegs": {"water 0": ["peg 00", "peg 01", "peg 02"], "water 1": ["peg 06"], "water 9": ["peg 99"]},
        "rates": {
            "all": {"bait_month": {CLUB: [["caster/01", 3], ["caster/02", 3], ["worm/01", 2], ["?/01", 9]]}}
        },
    }
    found = scope_of(fit, series, CLUB)
    assert found is not None
    assert found.waters == {"water 0": 0.75, "water 1": 0.25}
    assert found.baits == {"caster": 0.75, "worm": 0.25}
    assert scope_of(fit, series, "water 9") is None
    one = scope_of(fit, series, "water 1")
    assert one is not None and (one.waters, one.pegs) == ({"water 1": 1.0}, {"water 1": ("peg 06",)})
