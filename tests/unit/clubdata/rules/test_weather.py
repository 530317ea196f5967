"""Means over a session's hours; wind as vectors; rain summed."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdata.rules.weather import Reading, weather_of

TEN = datetime(2024, 5, 1, 10, tzinfo=UTC)


def hours(**values: list[float | None]) -> list[Reading]:
    count = len(next(iter(values.values())))
    return [
        Reading(TEN + timedelta(hours=at), **{name: column[at] for name, column in values.items()})
        for at in range(count)
    ]


def test_temperature_and_pressure_are_means_of_what_was_read() -> None:
    weather = weather_of(hours(air_temperature_c=[10.0, None, 13.0], pressure_hpa=[1000.0, 1002.0, 1007.0]))
    assert (weather.air_temperature_c, weather.pressure_hpa) == (11.5, 1003.0)
    assert weather.wind_force is None and weather.rain_mm is None


def test_rain_is_summed_and_cloud_rounded() -> None:
    weather = weather_of(hours(rain_mm=[0.2, 0.0, 1.4], cloud_oktas=[7.0, 8.0, 8.0]))
    assert (weather.rain_mm, weather.cloud_oktas) == (1.6, 8)


def test_wind_is_a_beaufort_force() -> None:
    """WMO-No. 8: 3.4 to 5.4 m/s is force 3."""
    assert weather_of(hours(wind_m_s=[4.0, 5.0])).wind_force == 3


def test_wind_about_north_is_from_north_and_not_from_south() -> None:
    about_north = hours(wind_m_s=[4.0, 4.0], wind_from_degrees=[350.0, 10.0])
    assert weather_of(about_north).wind_from_degrees == 0


def test_wind_from_everywhere_has_no_direction() -> None:
    around = hours(wind_m_s=[4.0, 4.0], wind_from_degrees=[90.0, 270.0])
    assert weather_of(around).wind_from_degrees is None


@given(degrees=st.lists(st.floats(0, 359.99), min_size=1, max_size=6), turn=st.integers(0, 359))
def test_the_direction_turns_with_the_readings(degrees: list[float], turn: int) -> None:
    """As a mean of vectors does (Mardia & Jupp 2000, Directional Statistics, section 2.2)."""
    still = weather_of(hours(wind_from_degrees=degrees)).wind_from_degrees  # type: ignore[arg-type]
    turned = weather_of(hours(wind_from_degrees=[(one + turn) % 360 for one in degrees])).wind_from_degrees
    if still is None or turned is None:
        return  # as good as from everywhere
    assert pytest.approx(0, abs=1.01) == (turned - still - turn + 180) % 360 - 180
