"""Forecasts held against what came."""

import numpy as np
import pytest

from analytics.catchrate.calibration import SHARES, Calibration, calibration_of
from analytics.catchrate.draws import draw
from analytics.catchrate.scores import places

SESSIONS = 3000


def calibrated(*, dispersion: float = 2.0, factor: float = 1.0) -> Calibration:
    """Forecasts of dispersion 2 and the stated mean, for weights of the given dispersion and factor."""
    rng = np.random.default_rng(4)
    mean = rng.uniform(0.5, 8.0, SESSIONS)
    weight = draw(rng, factor * mean, dispersion, 1.5)
    draws = draw(rng, np.broadcast_to(mean[:, None], (SESSIONS, 200)), 2.0, 1.5)
    return calibration_of(weight, mean, draws, places(rng, weight, draws), np.arange(SESSIONS) // 10)


@pytest.fixture(scope="module")
def right() -> Calibration:
    return calibrated()


def test_right_forecasts_cover_what_they_say(right: Calibration) -> None:
    assert [item.share for item in right.coverages] == list(SHARES)
    for item in right.coverages:
        assert abs(item.found - item.share) < 4 * item.standard_error, item.share


def test_places_of_right_forecasts_are_spread_evenly(right: Calibration) -> None:
    assert sum(right.tenths) == SESSIONS
    chi_square = sum((count - 300) ** 2 / 300 for count in right.tenths)
    # The 99.9 % point of chi-square on nine degrees of freedom (Abramowitz & Stegun, table 26.8).
    assert chi_square < 27.9


def test_classes_go_from_light_to_heavy_and_hold_their_means(right: Calibration) -> None:
    expected = [item.expected_g for item in right.classes]
    assert expected == sorted(expected) and sum(item.sessions for item in right.classes) == SESSIONS
    for item in right.classes:
        assert item.standard_error_g is not None
        assert abs(item.observed_g - item.expected_g) < 4 * item.standard_error_g


def test_blanks_of_right_forecasts_are_as_many_as_forecast(right: Calibration) -> None:
    blanks = right.blanks
    assert blanks.standard_error is not None and blanks.observed > 0.05
    assert abs(blanks.observed - blanks.expected) < 4 * blanks.standard_error


def test_forecasts_that_are_too_sure_cover_too_little_and_too_high_ones_sit_low() -> None:
    assert calibrated(dispersion=6.0).coverage(0.9).found < 0.85
    half = calibrated(factor=0.5)
    assert sum(half.tenths[:5]) > 1.3 * sum(half.tenths[5:])
    assert half.classes[-1].observed_g < 0.7 * half.classes[-1].expected_g


def test_few_sessions_make_fewer_classes() -> None:
    rng = np.random.default_rng(5)
    mean = np.full(25, 3.0)
    draws = draw(rng, np.broadcast_to(mean[:, None], (25, 200)), 2.0, 1.5)
    weight = draw(rng, mean, 2.0, 1.5)
    found = calibration_of(weight, mean, draws, places(rng, weight, draws), np.arange(25))
    assert [item.sessions for item in found.classes] == [13, 12]
