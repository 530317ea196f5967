"""Sun and Moon against other programs and a textbook.

Sun and Moon tables: two independent astronomy libraries that agree, one on a planetary ephemeris and one on
series; the Moon's instants also stand in every almanac of 2024. Tolerances: Sun 60 s, Moon 2 minutes.
"""

from datetime import UTC, date, datetime, timedelta

import pytest

from clubdata.rules.sky import MoonPhase, next_moon_phase, previous_moon_phase, sky_for

SUN_TOLERANCE = timedelta(seconds=60)
MOON_TOLERANCE = timedelta(minutes=2)


@pytest.mark.parametrize(
    ("latitude", "longitude", "sunrise", "sunset"),
    [
        (51.5074, -0.1278, "2024-06-20T03:43:00", "2024-06-20T20:21:27"),
        (51.5074, -0.1278, "2024-12-21T08:03:59", "2024-12-21T15:53:37"),
        (53.3498, -6.2603, "2024-12-21T08:38:26", "2024-12-21T16:08:15"),
        (55.9533, -3.1883, "2025-03-14T06:30:16", "2025-03-14T18:14:34"),
    ],
)
def test_sunrise_and_sunset(latitude: float, longitude: float, sunrise: str, sunset: str) -> None:
    rise, fall = (datetime.fromisoformat(text).replace(tzinfo=UTC) for text in (sunrise, sunset))
    sky = sky_for(latitude=latitude, longitude=longitude, on=rise.date(), time_zone="Europe/London")
    assert sky.sunrise is not None
    assert sky.sunset is not None
    assert abs(sky.sunrise - rise) <= SUN_TOLERANCE
    assert abs(sky.sunset - fall) <= SUN_TOLERANCE
    assert sky.day_length_hours == pytest.approx((fall - rise) / timedelta(hours=1), abs=120 / 3600)


MOON_OF_2024 = [
    (MoonPhase.FULL, datetime(2024, 1, 25, 17, 54, tzinfo=UTC)),
    (MoonPhase.NEW, datetime(2024, 4, 8, 18, 21, tzinfo=UTC)),
    (MoonPhase.FIRST_QUARTER, datetime(2024, 6, 14, 5, 18, tzinfo=UTC)),
    (MoonPhase.FULL, datetime(2024, 6, 22, 1, 8, tzinfo=UTC)),
    (MoonPhase.LAST_QUARTER, datetime(2024, 6, 28, 21, 53, tzinfo=UTC)),
]


@pytest.mark.parametrize(("phase", "instant"), MOON_OF_2024)
@pytest.mark.parametrize("days", [0.01, 1, 14, 28])
def test_moon_phases_are_found_from_before_and_from_after(
    phase: MoonPhase, instant: datetime, days: float
) -> None:
    assert abs(next_moon_phase(phase, instant - timedelta(days=days)) - instant) <= MOON_TOLERANCE
    assert abs(previous_moon_phase(phase, instant + timedelta(days=days)) - instant) <= MOON_TOLERANCE


@pytest.mark.parametrize(("phase", "instant"), MOON_OF_2024)
def test_a_principal_phase_names_its_date(phase: MoonPhase, instant: datetime) -> None:
    sky = sky_for(latitude=51.5, longitude=0.0, on=instant.date(), time_zone="UTC")
    assert sky.moon_phase == phase


def test_the_new_moon_of_february_1977() -> None:
    # Meeus, Astronomical Algorithms, 2nd ed., example 49.a: JDE 2443192.65118, dynamical time.
    # Dynamical time ran 47.5 s ahead of universal time at the start of 1977 (from memory, unverified;
    # the tolerance is above it twice over).
    julian_day_of_unix_epoch, jde = 2440587.5, 2443192.65118
    published = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(
        days=jde - julian_day_of_unix_epoch, seconds=-47.5
    )
    found = next_moon_phase(MoonPhase.NEW, datetime(1977, 2, 1, tzinfo=UTC))
    assert abs(found - published) <= MOON_TOLERANCE


def test_the_moon_is_lit_wholly_when_full_and_hardly_when_new() -> None:
    full = sky_for(latitude=51.5, longitude=0.0, on=date(2024, 1, 25), time_zone="Europe/London")
    new = sky_for(latitude=51.5, longitude=0.0, on=date(2024, 4, 8), time_zone="Europe/London")
    half = sky_for(latitude=51.5, longitude=0.0, on=date(2024, 6, 14), time_zone="Europe/London")
    assert full.moon_illuminated_fraction > 0.99
    assert new.moon_illuminated_fraction < 0.01
    assert half.moon_illuminated_fraction == pytest.approx(0.5, abs=0.05)
