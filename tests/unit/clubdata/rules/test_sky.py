"""Local dates, polar days and the words for the Moon."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import ephem
import pytest

from clubdata.rules.sky import MoonPhase, next_moon_phase, previous_moon_phase, sky_for

TROMSO: dict[str, Any] = {"latitude": 69.65, "longitude": 18.96, "time_zone": "Europe/Oslo"}
SYDNEY: dict[str, Any] = {"latitude": -33.87, "longitude": 151.21, "time_zone": "Australia/Sydney"}


def test_the_polar_summer_has_a_day_without_sunrise_or_sunset() -> None:
    sky = sky_for(on=date(2024, 6, 20), **TROMSO)
    assert (sky.sunrise, sky.sunset, sky.day_length_hours) == (None, None, 24)


def test_the_polar_winter_has_a_night_without_sunrise_or_sunset() -> None:
    sky = sky_for(on=date(2024, 12, 20), **TROMSO)
    assert (sky.sunrise, sky.sunset, sky.day_length_hours) == (None, None, 0)


@pytest.mark.parametrize("on", [date(2024, 5, 16) + timedelta(days=day) for day in range(4)])
def test_the_length_of_a_day_agrees_with_the_suns_height_minute_by_minute(on: date) -> None:
    # Around the start of the midnight sun the Sun sets after midnight, before it rises.
    observer = ephem.Observer()
    observer.lat, observer.lon, observer.pressure = "69.65", "18.96", 0
    start = datetime(on.year, on.month, on.day, tzinfo=ZoneInfo("Europe/Oslo")).astimezone(UTC)
    minutes_up = 0
    for minute in range(24 * 60):
        observer.date = (start + timedelta(minutes=minute + 0.5)).replace(tzinfo=None)
        minutes_up += ephem.Sun(observer).alt > ephem.degrees("-0:50")
    assert sky_for(on=on, **TROMSO).day_length_hours == pytest.approx(minutes_up / 60, abs=3 / 60)


def test_sunrise_and_sunset_belong_to_the_local_date() -> None:
    sky = sky_for(on=date(2024, 6, 20), **SYDNEY)
    assert sky.sunrise is not None
    assert sky.sunset is not None
    assert sky.sunrise.tzinfo is UTC
    assert sky.sunrise.date() == date(2024, 6, 19)
    assert sky.sunset.date() == date(2024, 6, 20)


def test_a_phase_names_the_local_date_on_which_it_falls() -> None:
    # New moon on 2024-04-08 at 18:21 UTC is already the 9th in Sydney.
    london: dict[str, Any] = {"latitude": 51.5, "longitude": 0.0, "time_zone": "Europe/London"}
    assert sky_for(on=date(2024, 4, 8), **london).moon_phase == MoonPhase.NEW
    assert sky_for(on=date(2024, 4, 8), **SYDNEY).moon_phase == MoonPhase.WANING_CRESCENT
    assert sky_for(on=date(2024, 4, 9), **SYDNEY).moon_phase == MoonPhase.NEW


def test_the_moon_goes_through_its_words_in_order() -> None:
    words = [
        sky_for(
            latitude=52.5, longitude=0.5, on=date(2024, 4, 8) + timedelta(days=day), time_zone="UTC"
        ).moon_phase
        for day in range(29)
    ]
    assert list(dict.fromkeys(words)) == list(MoonPhase)


@pytest.mark.parametrize("days", [0.0, 7.3, 100.0, 3000.0])
def test_phases_agree_with_the_librarys_own_search(days: float) -> None:
    moment = datetime(2000, 1, 1, tzinfo=UTC) + timedelta(days=days)
    naive = moment.replace(tzinfo=None)
    expected = ephem.next_full_moon(naive).datetime().replace(tzinfo=UTC)
    assert abs(next_moon_phase(MoonPhase.FULL, moment) - expected) < timedelta(seconds=1)
    expected = ephem.previous_last_quarter_moon(naive).datetime().replace(tzinfo=UTC)
    assert abs(previous_moon_phase(MoonPhase.LAST_QUARTER, moment) - expected) < timedelta(seconds=1)


def test_a_stretch_between_phases_has_no_instant() -> None:
    with pytest.raises(ValueError, match="instant"):
        next_moon_phase(MoonPhase.WAXING_CRESCENT, datetime(2024, 1, 1, tzinfo=UTC))


@pytest.mark.parametrize(("latitude", "longitude"), [(90.1, 0), (-91, 0), (0, 181), (float("nan"), 0)])
def test_a_place_off_the_globe_is_refused(latitude: float, longitude: float) -> None:
    with pytest.raises(ValueError, match="latitude"):
        sky_for(latitude=latitude, longitude=longitude, on=date(2024, 1, 1), time_zone="UTC")


def test_an_unknown_time_zone_is_refused() -> None:
    with pytest.raises(ZoneInfoNotFoundError):
        sky_for(latitude=0.0, longitude=0.0, on=date(2024, 1, 1), time_zone="Nowhere/Atall")
