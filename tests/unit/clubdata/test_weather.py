"""Weather that nobody typed: filled by a job, marked, and never in the way of a return."""

from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clubdata.models import Amendment, AmendmentKind, Conditions, Return, WeatherReading
from clubdata.rules.weather import Weather
from clubdata.services.amendments import Wish, ask, settle
from clubdata.services.members import membership
from clubdata.services.weather import Station, fill, span_of
from tests.factories import NOW, SmallClub, make_match, make_return

pytestmark = pytest.mark.django_db
DAY = date(2024, 6, 1)
TEN = datetime(2024, 6, 1, 9, tzinfo=UTC)  # ten in the morning at the mere


@pytest.fixture
def session(heron_small: SmallClub) -> Return:
    made = make_return(heron_small.member, heron_small.pegs["1"], fished_on=DAY, started_at=clock_time(10))
    return Return.objects.select_related("water__club").get(pk=made.pk)


def amend(small: SmallClub, session: Return, given: dict[str, Any], by: str = "secretary") -> Amendment:
    account = small.account(by)
    who = membership(actor=account, slug=small.club.slug)
    return ask(
        who=who, uid=session.uid, now=NOW, wish=Wish(AmendmentKind.CHANGE, session.version, "misread", given)
    )


TYPED = st.fixed_dictionaries(
    {}, optional={"air_temperature_c": st.integers(-20, 30), "wind_force": st.integers(0, 12),
                  "cloud_oktas": st.integers(0, 8), "wind_from_degrees": st.integers(0, 359)}
)  # fmt: skip
SAID = st.builds(
    Weather, air_temperature_c=st.none() | st.floats(-20, 30).map(lambda value: round(value, 1)),
    wind_force=st.none() | st.integers(0, 12), cloud_oktas=st.none() | st.integers(0, 8),
    wind_from_degrees=st.none() | st.integers(0, 359),
)  # fmt: skip


@given(typed=TYPED, said=st.lists(SAID, max_size=3))
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_typed_value_is_ever_overwritten_and_no_filled_one_unmarked(
    typed: dict[str, int], said: list[Weather], session: Return
) -> None:
    Conditions.objects.filter(session=session).delete()
    Conditions.objects.create(club=session.club, session=session, **typed)
    for weather in said:
        fill(session=session, weather=weather, said_by="somebody")
    kept = Conditions.objects.get(session=session)
    for name in ("air_temperature_c", "wind_force", "cloud_oktas", "wind_from_degrees"):
        value = getattr(kept, name)
        if name in typed:
            assert value == typed[name] and name not in kept.filled
        else:
            assert (value is not None) == (name in kept.filled)


@pytest.mark.parametrize(
    "moved", [{"fished_on": DAY + timedelta(days=1)}, {"started_at": clock_time(14)}, {"hours": Decimal(3)}]
)
def test_a_session_that_moves_leaves_its_filled_weather_behind(
    moved: dict[str, Any], heron_small: SmallClub, session: Return
) -> None:
    Conditions.objects.create(club=heron_small.club, session=session, air_temperature_c=Decimal(9))
    fill(session=session, weather=Weather(wind_force=4, rain_mm=0.5), said_by="the first")
    amend(heron_small, session, moved)
    kept = Conditions.objects.get(session=session)
    assert (kept.air_temperature_c, kept.wind_force, kept.filled, kept.filled_from) == (
        Decimal(9),
        None,
        [],
        "",
    )


def test_another_change_leaves_it(heron_small: SmallClub, session: Return) -> None:
    fill(session=session, weather=Weather(wind_force=4), said_by="the first")
    amend(heron_small, session, {"notes": "by the reeds"})
    kept = Conditions.objects.get(session=session)
    assert (kept.wind_force, kept.filled) == (4, ["wind_force"])


def test_what_was_amended_since_it_was_asked_about_is_not_filled(
    heron_small: SmallClub, session: Return
) -> None:
    amend(heron_small, session, {"fished_on": DAY + timedelta(days=1)})
    assert not fill(session=session, weather=Weather(wind_force=4), said_by="the first")
    assert not Conditions.objects.exists()


def test_a_day_without_a_start_is_its_light(session: Return) -> None:
    session.started_at = None
    span = span_of(session)
    assert (span.begins.date(), span.ends.date()) == (DAY, DAY)
    assert 16 < (span.ends - span.begins) / timedelta(hours=1) < 17.5


def test_a_station_that_read_nothing_near_says_nothing(heron_small: SmallClub, session: Return) -> None:
    WeatherReading.objects.create(
        club=heron_small.club, station="boathouse", read_at=TEN - timedelta(hours=5), air_temperature_c=3
    )
    assert Station(heron_small.club).weather(span_of(session)) is None


def test_a_session_on_another_water_leaves_its_filled_weather_behind(
    heron_small: SmallClub, session: Return
) -> None:
    fill(session=session, weather=Weather(wind_force=4), said_by="the first")
    amend(heron_small, session, {"water": heron_small.brook.name, "peg": "", "roved": True})
    assert not Conditions.objects.exists()


def test_an_amendment_that_waited_leaves_what_was_filled_meanwhile(
    heron_small: SmallClub, session: Return
) -> None:
    """It was asked for when nothing of the weather was known: it says nothing against it."""
    match = make_match(heron_small.mere, held_on=DAY, final_at=NOW)
    Return.objects.filter(pk=session.pk).update(
        session_kind="match", match=match, member=heron_small.organiser
    )
    session.refresh_from_db()
    waiting = amend(heron_small, session, {"notes": "by the reeds"}, by="organiser")
    assert waiting.state == "awaiting"
    fill(session=session, weather=Weather(wind_force=4), said_by="the first")
    second = membership(actor=heron_small.account("secretary"), slug=heron_small.club.slug)
    settle(who=second, uid=waiting.uid, now=NOW, agrees=True, reason="seen")
    kept = Conditions.objects.get(session=session)
    assert (kept.wind_force, kept.filled, kept.filled_from) == (4, ["wind_force"], "the first")


def test_what_no_return_may_hold_is_not_filled(heron_small: SmallClub, session: Return) -> None:
    """An instrument that stuck at 200 mm an hour: with a litre of it no later amendment would be taken."""
    assert not fill(session=session, weather=Weather(rain_mm=1_000.0), said_by="the first")
    assert fill(session=session, weather=Weather(rain_mm=500.0), said_by="the first")
    amend(heron_small, session, {"notes": "by the reeds"})
    assert Conditions.objects.get(session=session).rain_mm == Decimal(500)


def test_hours_are_counted_through_a_change_of_the_clock(session: Return) -> None:
    """27 October 2024: half past midnight by summer time, and five hours on."""
    session.fished_on, session.started_at = date(2024, 10, 27), clock_time(0, 30)
    span = span_of(session)
    assert (span.begins, span.ends) == (
        datetime(2024, 10, 26, 23, 30, tzinfo=UTC),
        datetime(2024, 10, 27, 4, 30, tzinfo=UTC),
    )
