"""Means over a session's hours, each reading for the time it stands for; wind as vectors."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdata.rules.weather import Reading, Weather, weather_of

TEN = datetime(2024, 5, 1, 10, tzinfo=UTC)


def hours(every_minutes: int = 60, first: datetime = TEN, **values: list[float | None]) -> list[Reading]:
    count = len(next(iter(values.values())))
    return [
        Reading(
            first + timedelta(minutes=every_minutes * at),
            **{name: column[at] for name, column in values.items()},
        )
        for at in range(count)
    ]


def weather(readings: list[Reading], *, fished: float = 2.0, hours_fished: float | None = None) -> Weather:
    """From ten o'clock on."""
    return weather_of(readings, begins=TEN, ends=TEN + timedelta(hours=fished), hours_fished=hours_fished)


def test_each_reading_counts_for_the_time_that_it_stands_for() -> None:
    """Ten and noon are half outside: 10 × ½ + 16 × 1 + 12 × ½ over two hours."""
    assert weather(hours(air_temperature_c=[10.0, 16.0, 12.0])).air_temperature_c == 13.5


def test_a_value_that_was_not_read_leaves_the_rest_of_its_time_to_nobody() -> None:
    found = weather(hours(pressure_hpa=[1000.0, 1002.0, None]))
    assert found.pressure_hpa == 1001.3
    assert found.wind_force is None and found.rain_mm is None


def test_a_single_reading_does_not_stand_for_a_day() -> None:
    one = hours(air_temperature_c=[14.0], wind_m_s=[4.0], rain_mm=[1.0])
    assert weather(one, fished=12.0) == Weather()
    assert weather(one, fished=1.0).air_temperature_c == 14.0, "half of an hour is half"
    assert weather(one, fished=1.01).air_temperature_c is None


@pytest.mark.parametrize("every_minutes", [5, 10, 20, 30, 60])
def test_rain_is_the_same_however_often_it_is_read(every_minutes: int) -> None:
    """A millimetre in each hour before the reading, for three hours."""
    count = 180 // every_minutes + 1
    assert weather(hours(every_minutes, rain_mm=[1.0] * count), fished=3.0).rain_mm == 3.0


def test_a_second_station_does_not_make_it_rain_twice() -> None:
    one, other = hours(rain_mm=[9.0, 1.0, 2.0]), hours(rain_mm=[9.0, 2.0, 3.0])
    assert weather(one + other).rain_mm == 4.0, "and the hour before the start is not fished"


def test_two_stations_at_one_time_stand_for_it_together() -> None:
    """10 from one at ten and 16 from both at eleven: half an hour each."""
    both = hours(air_temperature_c=[10.0, 16.0]) + hours(air_temperature_c=[None, 16.0])
    assert weather(both, fished=1.0).air_temperature_c == 13.0


def test_rain_is_of_the_hours_that_were_fished() -> None:
    assert weather(hours(rain_mm=[0.0, 0.5, 1.5]), hours_fished=1.0).rain_mm == 1.0


def test_half_of_the_rain_unread_is_made_up_for_and_less_is_not_known() -> None:
    assert weather(hours(rain_mm=[None, 1.2]), fished=2.0).rain_mm == 2.4
    assert weather(hours(rain_mm=[None, 1.2]), fished=2.1).rain_mm is None


def test_cloud_is_rounded() -> None:
    assert weather(hours(cloud_oktas=[7.0, 8.0, 8.0])).cloud_oktas == 8


def test_wind_is_a_beaufort_force() -> None:
    """WMO-No. 8: 3.4 to 5.4 m/s is force 3."""
    assert weather(hours(wind_m_s=[4.0, 5.0]), fished=1.0).wind_force == 3


def test_wind_about_north_is_from_north_and_not_from_south() -> None:
    about_north = hours(wind_m_s=[4.0, 4.0], wind_from_degrees=[350.0, 10.0])
    assert weather(about_north, fished=1.0).wind_from_degrees == 0


def test_wind_from_everywhere_has_no_direction() -> None:
    around = hours(wind_m_s=[4.0, 4.0], wind_from_degrees=[90.0, 270.0])
    assert weather(around, fished=1.0).wind_from_degrees is None


def test_an_hour_that_the_clock_shows_twice_is_two_hours() -> None:
    """27 October 2024 in London: from one to two, and from one to two again."""
    london = ZoneInfo("Europe/London")
    begins = datetime(2024, 10, 27, 0, 30, tzinfo=london).astimezone(UTC)
    read = hours(first=begins, air_temperature_c=[8.0, 8.0, 2.0, 2.0])
    local = [Reading(one.read_at.astimezone(london), one.air_temperature_c) for one in read]
    ends = begins + timedelta(hours=3)
    assert weather_of(local, begins=begins.astimezone(london), ends=ends) == weather_of(
        read, begins=begins, ends=ends
    )
    assert weather_of(read, begins=begins, ends=ends).air_temperature_c == 5.0


@given(
    every_minutes=st.sampled_from([7, 15, 30, 45]),
    told=st.lists(st.floats(-20, 30), min_size=9, max_size=30),
)
def test_a_mean_lies_between_what_was_read(every_minutes: int, told: list[float]) -> None:
    found = weather(hours(every_minutes, air_temperature_c=list(told)), fished=1.0).air_temperature_c
    assert found is not None and min(told) - 0.05 <= found <= max(told) + 0.05


@given(degrees=st.lists(st.floats(0, 359.99), min_size=1, max_size=6), turn=st.integers(0, 359))
def test_the_direction_turns_with_the_readings(degrees: list[float], turn: int) -> None:
    """As a mean of vectors does (Mardia & Jupp 2000, Directional Statistics, section 2.2)."""
    still = weather(hours(wind_from_degrees=degrees), fished=1.0).wind_from_degrees  # type: ignore[arg-type]
    turned = weather(
        hours(wind_from_degrees=[(one + turn) % 360 for one in degrees]), fished=1.0
    ).wind_from_degrees
    if still is None or turned is None:
        return  # as good as from everywhere
    assert pytest.approx(0, abs=1.01) == (turned - still - turn + 180) % 360 - 180
