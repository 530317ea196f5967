"""The close season for rivers in England and Wales (national byelaws), and the parts of the year."""

from datetime import date, timedelta

import pytest

from clubdata.rules.season import (
    CLOSE_SEASON_SENTENCE,
    Season,
    close_season_applies,
    close_season_touches,
    season_of,
)


@pytest.mark.parametrize(
    ("on", "closed"),
    [
        (date(2024, 3, 14), False),
        (date(2024, 3, 15), True),
        (date(2024, 5, 1), True),
        (date(2024, 6, 15), True),
        (date(2024, 6, 16), False),
    ],
)
def test_rivers_are_closed_from_15_march_to_15_june_inclusive(on: date, closed: bool) -> None:
    assert close_season_applies("river", on) is closed


def test_the_close_season_lasts_93_days() -> None:
    # 17 of March, 30 of April, 31 of May and 15 of June.
    days = [date(2023, 1, 1) + timedelta(days=day) for day in range(365)]
    assert sum(close_season_applies("river", day) for day in days) == 93


@pytest.mark.parametrize("kind", ["stillwater", "canal"])
def test_stillwaters_and_canals_have_no_national_close_season(kind: str) -> None:
    assert not close_season_applies(kind, date(2024, 5, 1))
    assert not close_season_touches(kind, 5)


def test_the_close_season_touches_march_to_june() -> None:
    assert [month for month in range(1, 13) if close_season_touches("river", month)] == [3, 4, 5, 6]


def test_an_unknown_kind_of_water_is_refused_and_not_called_open() -> None:
    with pytest.raises(ValueError, match="stillwater"):
        close_season_applies("River", date(2024, 5, 1))


def test_the_sentence_defers_to_local_byelaws() -> None:
    assert "Local byelaws and the fishery's rules come first" in CLOSE_SEASON_SENTENCE


def test_each_season_has_three_months() -> None:
    assert [season_of(month) for month in (12, 1, 2)] == [Season.WINTER] * 3
    assert [season_of(month) for month in (3, 4, 5)] == [Season.SPRING] * 3
    assert [season_of(month) for month in (6, 7, 8)] == [Season.SUMMER] * 3
    assert [season_of(month) for month in (9, 10, 11)] == [Season.AUTUMN] * 3


@pytest.mark.parametrize("month", [0, 13])
def test_there_are_twelve_months(month: int) -> None:
    with pytest.raises(ValueError, match="1 to 12"):
        season_of(month)
