"""The rule on serving a fit, clause by clause."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.catchrate.calibration import SHARES, BlankShare, Calibration, Coverage
from analytics.catchrate.check import Check
from analytics.catchrate.clusters import Mean
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.offset import EffortExponent
from analytics.catchrate.trust import misfit_of, verdict_of
from analytics.catchrate.validation import Comparison, Validation
from analytics.catchrate.verdict import (
    BLANKS_NOT_DESCRIBED,
    EFFORT_NOT_DESCRIBED,
    HELD,
    INTERVALS_OFF,
    KEPT,
    NO_BETTER,
    NO_GAIN,
    SERVED,
    SPREAD_NOT_DESCRIBED,
    UNTESTED,
    VERDICTS,
    Verdict,
)

NAN = float("nan")


def check(**values: Any) -> Check:
    good = {
        "returns": 100,
        "blank_share_observed": 0.1,
        "blank_share_fitted": 0.1,
        "blank_share_z": 0.0,
        "pearson_dispersion": 1.0,
        "deviance": 1.0,
        "baseline_deviance": 2.0,
        "deviance_explained": 0.5,
    }
    return Check(**{**good, **values})


def covering(found: float, share: float, sessions: int = 400) -> Coverage:
    error = float(np.sqrt(share * (1 - share) / sessions))
    return Coverage(share, sessions, round(found * sessions), error)


def validation(
    *,
    water: tuple[float, float] = (-4.0, -4.0),
    others: tuple[float, float] = (-2.0, -2.0),
    shares: dict[float, float] | None = None,
    blanks: BlankShare | None = None,
) -> Validation:
    """Differences from the baselines in standard errors, by deviance and by CRPS."""
    named = {"water mean": water, "peg and month mean": others, "plain GLM": others}
    return Validation(
        trained=1600,
        tested=400,
        days=60,
        first_test_day=date(2024, 1, 1),
        scores=(),
        comparisons=tuple(
            Comparison(name, Mean(deviance, 1.0), Mean(10.0 * crps, 10.0))
            for name, (deviance, crps) in named.items()
        ),
        calibration=Calibration(
            coverages=tuple(covering((shares or {}).get(share, share), share) for share in SHARES),
            tenths=(40,) * 10,
            classes=(),
            blanks=blanks or BlankShare(400, 0.1, 0.1, 0.015),
        ),
    )


def test_a_fit_that_holds_is_served() -> None:
    assert verdict_of(check(), validation()) == Verdict(HELD, "")


def test_a_fit_that_nothing_can_be_told_of_is_served_and_says_so() -> None:
    verdict = verdict_of(check(), Refusal("too_few_to_validate", "14 returns on the last days"))
    assert (verdict.code, verdict.may_serve) == (UNTESTED, True)
    assert "14 returns" in verdict.reason


def exponent(value: float, error: float) -> EffortExponent:
    return EffortExponent("pleasure", 300, value, error, (value - 1.0) / error)


@pytest.mark.parametrize(
    ("code", "values"),
    [
        (NO_GAIN, {"deviance_explained": -0.1}),
        (NO_GAIN, {"deviance_explained": NAN}),
        (BLANKS_NOT_DESCRIBED, {"blank_share_observed": 0.25}),
        (BLANKS_NOT_DESCRIBED, {"blank_share_fitted": NAN}),
        (SPREAD_NOT_DESCRIBED, {"dispersion_ratio": 1.5, "dispersion_z": 4.0}),
        (SPREAD_NOT_DESCRIBED, {"dispersion_ratio": 0.7, "dispersion_z": -3.5}),
        (EFFORT_NOT_DESCRIBED, {"effort_exponents": (exponent(0.0, 0.1),)}),
        (EFFORT_NOT_DESCRIBED, {"effort_exponents": (exponent(1.0, 0.1), exponent(1.9, 0.1))}),
    ],
)
def test_what_its_own_returns_say_against_it(code: str, values: dict[str, Any]) -> None:
    misfit = misfit_of(check(**values))
    assert misfit is not None and misfit.code == code and not misfit.may_serve
    assert verdict_of(check(**values), validation()) == misfit
    assert verdict_of(check(**values), Refusal("too_few_to_validate", "-")) == misfit


@pytest.mark.parametrize(
    "values",
    [
        {"dispersion_ratio": 1.5, "dispersion_z": 2.0},
        {"dispersion_ratio": 1.1, "dispersion_z": 9.0},
        {"effort_exponents": (exponent(0.2, 0.4),)},
        {"effort_exponents": (exponent(0.8, 0.01),)},
        {"blank_share_observed": 0.19},
    ],
)
def test_what_may_be_luck_or_does_not_matter_is_no_objection(values: dict[str, Any]) -> None:
    assert misfit_of(check(**values)) is None


@pytest.mark.parametrize(
    "found",
    [
        validation(water=(-0.4, -4.0)),
        validation(water=(-4.0, 2.1)),
        validation(others=(2.1, -1.0)),
        validation(others=(-1.0, 2.1)),
        validation(water=(NAN, -1.0)),
        validation(others=(-1.0, NAN)),
    ],
)
def test_a_fit_that_a_baseline_does_as_well_as_is_kept(found: Validation) -> None:
    verdict = verdict_of(check(), found)
    assert (verdict.code, verdict.may_serve) == (NO_BETTER, False)
    assert "400 unseen returns" in verdict.reason


def test_one_score_a_little_worse_than_a_baseline_is_luck() -> None:
    assert verdict_of(check(), validation(others=(1.9, 1.9))).code == HELD


@pytest.mark.parametrize("shares", [{0.5: 0.35}, {0.5: 0.65}, {0.9: 0.8}, {0.9: 1.0}])
def test_intervals_that_hold_far_too_few_or_too_many_keep_it(shares: dict[float, float]) -> None:
    assert verdict_of(check(), validation(shares=shares)).code == INTERVALS_OFF


def test_blanks_to_come_count_as_much_as_those_behind() -> None:
    verdict = verdict_of(check(), validation(blanks=BlankShare(400, 0.1, 0.3, 0.02)))
    assert verdict.code == BLANKS_NOT_DESCRIBED
    assert verdict_of(check(), validation(blanks=BlankShare(40, 0.1, 0.3, 0.04))).code == HELD


@given(st.tuples(*[st.floats(-6, 6)] * 4), st.floats(0.1, 6), st.floats(0, 1))
def test_a_better_fit_is_never_kept_where_a_worse_one_is_served(
    differences: tuple[float, float, float, float], better: float, off: float
) -> None:
    """By deviance and CRPS; and by coverage, the nearer to the share the better."""
    water, water_crps, other, other_crps = differences
    worse = validation(water=(water, water_crps), others=(other, other_crps), shares={0.5: 0.5 + off / 2})
    best = validation(
        water=(water - better, water_crps - better),
        others=(other - better, other_crps - better),
        shares={0.5: 0.5 + off / 4},
    )
    assert verdict_of(check(), worse).code in VERDICTS
    assert verdict_of(check(), best).may_serve or not verdict_of(check(), worse).may_serve


@given(st.floats(0.0, 0.5), st.integers(20, 400))
def test_fewer_returns_never_make_the_rule_on_intervals_stricter(off: float, sessions: int) -> None:
    def at(count: int) -> Validation:
        error = float(np.sqrt(0.25 / count))
        item = Coverage(0.5, 1_000_000, round((0.5 + off) * 1_000_000), error)
        found = validation()
        chosen = tuple(item if other.share == 0.5 else other for other in found.calibration.coverages)
        return replace(found, calibration=replace(found.calibration, coverages=chosen))

    few, many = verdict_of(check(), at(sessions)), verdict_of(check(), at(10 * sessions))
    assert few.may_serve or not many.may_serve


def test_every_code_is_served_or_kept_and_fits_its_column() -> None:
    assert not set(SERVED) & set(KEPT)
    assert max(len(code) for code in VERDICTS) <= 30
    assert [Verdict(code, "").may_serve for code in SERVED] == [True, True]
    assert not any(Verdict(code, "").may_serve for code in KEPT)
