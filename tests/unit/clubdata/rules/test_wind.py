"""The gaps, ends and names of the Beaufort scale."""

import math

import pytest

from clubdata.rules.wind import (
    BEAUFORT_SCALE,
    beaufort_from_metres_per_second,
    beaufort_name,
    read_force,
)


@pytest.mark.parametrize("lower", BEAUFORT_SCALE[:-1])
def test_the_gap_between_two_bands_is_halved_and_the_half_goes_up(
    lower: tuple[int, str, float, float],
) -> None:
    force, _, _, highest = lower
    half = round(highest + 0.05, 2)
    assert beaufort_from_metres_per_second(half - 1e-9) == force
    assert beaufort_from_metres_per_second(half) == force + 1


def test_the_scale_ends_at_twelve() -> None:
    assert beaufort_from_metres_per_second(500.0) == 12


@pytest.mark.parametrize("speed", [-0.1, math.nan, math.inf])
def test_a_speed_that_cannot_be_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="wind speed"):
        beaufort_from_metres_per_second(speed)


def test_forces_have_the_names_of_the_scale() -> None:
    assert [beaufort_name(force) for force in (0, 3, 8, 12)] == ["calm", "gentle breeze", "gale", "hurricane"]


@pytest.mark.parametrize("force", [-1, 13])
def test_a_force_off_the_scale_has_no_name(force: int) -> None:
    with pytest.raises(ValueError, match="0 to 12"):
        beaufort_name(force)


@pytest.mark.parametrize(
    ("text", "force"), [("0", 0), ("12", 12), ("F7", 7), ("Force 7", 7), ("Near  Gale", 7), ("brisk", 5)]
)
def test_a_force_is_read_as_people_write_it(text: str, force: int) -> None:
    assert read_force(text, {"brisk": 5}) == force


@pytest.mark.parametrize("text", ["13", "99", "-1", "4.5", "", "f", "windy", "4 or 5"])
def test_what_is_no_force_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="0 to 12"):
        read_force(text, {})
