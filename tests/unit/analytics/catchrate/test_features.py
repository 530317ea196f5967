import math

import numpy as np
import pytest

from analytics.catchrate.features import bait_month, mid_month, wind_class


@pytest.mark.parametrize(
    ("force", "expected"),
    [(0, "0-1"), (1.4, "0-1"), (1.5, "2-3"), (3, "2-3"), (4, "4-5"), (5.5, "6+"), (12, "6+")],
)
def test_beaufort_forces_fall_into_classes(force: float, expected: str) -> None:
    assert wind_class(force) == expected


@pytest.mark.parametrize("force", [None, math.nan])
def test_a_wind_that_was_not_recorded_has_a_class_of_its_own(force: float | None) -> None:
    assert wind_class(force) == "unknown"


def test_a_bait_in_a_month_is_one_level_and_an_unnamed_bait_none() -> None:
    assert bait_month("maggot", 7) == "maggot/07"
    assert bait_month(None, 7) is None


def test_months_stand_for_their_middle() -> None:
    np.testing.assert_array_equal(mid_month(np.array([1, 12])), [16, 350])
