"""Laws of the Sun and the Moon at any place and date."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clubdata.rules.sky import PRINCIPAL_PHASES, MoonPhase, next_moon_phase, previous_moon_phase, sky_for

dates = st.dates(date(1990, 1, 1), date(2049, 12, 31))
moments = st.datetimes(datetime(1990, 1, 1), datetime(2049, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001
latitudes = st.floats(-89, 89)
longitudes = st.floats(-180, 180)


@settings(deadline=None)
@given(latitudes, longitudes, dates)
def test_a_day_is_never_shorter_than_none_nor_longer_than_itself(
    latitude: float, longitude: float, on: date
) -> None:
    sky = sky_for(latitude=latitude, longitude=longitude, on=on, time_zone="UTC")
    start = datetime(on.year, on.month, on.day, tzinfo=UTC)
    assert 0 <= sky.day_length_hours <= 24
    for moment in (sky.sunrise, sky.sunset):
        assert moment is None or start <= moment < start + timedelta(days=1)
    if sky.sunrise is None and sky.sunset is None:
        assert sky.day_length_hours in (0, 24)


@settings(deadline=None)
@given(st.floats(-60, 60), longitudes, dates)
def test_between_the_polar_circles_opposite_latitudes_share_a_day_and_a_night(
    latitude: float, longitude: float, on: date
) -> None:
    # Refraction and the Sun's width lengthen the two days together: by the sunset equation 13 minutes at
    # the equator and at most 44 at 60 degrees.
    north = sky_for(latitude=latitude, longitude=longitude, on=on, time_zone="UTC").day_length_hours
    south = sky_for(latitude=-latitude, longitude=longitude, on=on, time_zone="UTC").day_length_hours
    assert 24 <= north + south <= 24.8


@settings(deadline=None)
@given(st.sampled_from(PRINCIPAL_PHASES), moments)
def test_a_phase_comes_back_after_about_29_and_a_half_days(phase: MoonPhase, moment: datetime) -> None:
    # A lunation lasts 29.18 to 29.93 days (Meeus, Astronomical Algorithms, 2nd ed., chapter 49).
    last, coming = previous_moon_phase(phase, moment), next_moon_phase(phase, moment)
    assert last <= moment <= coming
    assert 29.1 < (coming - last) / timedelta(days=1) < 30.0


@settings(deadline=None)
@given(dates)
def test_the_moons_age_and_light_agree_with_its_phase(on: date) -> None:
    sky = sky_for(latitude=52.5, longitude=0.5, on=on, time_zone="Europe/London")
    assert 0 <= sky.moon_age_days < 30
    light = sky.moon_illuminated_fraction
    assert 0 <= light <= 1
    match sky.moon_phase:
        case MoonPhase.NEW:
            assert light < 0.02
        case MoonPhase.FULL:
            assert light > 0.98
        case MoonPhase.WAXING_CRESCENT | MoonPhase.WANING_CRESCENT:
            assert light < 0.6
        case MoonPhase.WAXING_GIBBOUS | MoonPhase.WANING_GIBBOUS:
            assert light > 0.4
        case MoonPhase.FIRST_QUARTER | MoonPhase.LAST_QUARTER:
            assert light == pytest.approx(0.5, abs=0.1)


@settings(deadline=None)
@given(dates)
def test_the_moons_phases_follow_each_other_day_by_day(on: date) -> None:
    order = list(MoonPhase)
    today, tomorrow = (
        order.index(sky_for(latitude=0.0, longitude=0.0, on=day, time_zone="UTC").moon_phase)
        for day in (on, on + timedelta(days=1))
    )
    assert (tomorrow - today) % len(order) in (0, 1)
