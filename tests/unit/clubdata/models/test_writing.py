"""Rows that are written by a statement of our own are as the ORM would have written them."""

from datetime import date, time
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.test.utils import CaptureQueriesContext

from clubdata.models import Amendment, CatchLine, Conditions, Return, SessionPart
from clubdata.models.writing import insert_all
from tests.factories import NOW, SmallClub, make_return

pytestmark = pytest.mark.django_db


def session_of(small: SmallClub, **values: Any) -> Return:
    given: dict[str, Any] = {
        "club": small.club,
        "member": small.member,
        "water": small.mere,
        "peg": small.pegs["1"],
        "session_kind": "pleasure",
        "fished_on": date(2024, 5, 1),
        "started_at": time(8, 30),
        "hours": Decimal("4.5"),
        "outcome": "weighed",
        "weight_g": 5670,
        "weight_typed": '12-8, it\'s "true" at 100 % é',
        "weight_unit": "dram",
        "weight_step": Decimal("0.5"),
        "entered_at": NOW,
    }
    return Return(**{**given, **values})


def rows_of(small: SmallClub) -> list[models.Model]:
    """A new row of each of the kinds that a hand-in writes, and one with an object in JSON."""
    session = make_return(small.member, small.pegs["2"])
    of = {"club": small.club, "session": session}
    SessionPart.objects.filter(session=session).delete()
    return [
        session_of(small),
        SessionPart(**of, hook_bait=small.caster, distance_m=Decimal("11.5"), main_line_mm=Decimal("0.14")),
        CatchLine(**of, species=small.roach, weight_g=1800, biggest_length_cm=Decimal("21.5")),
        Conditions(**of, wind_force=2, air_temperature_c=Decimal("-3.5"), filled=["wind_force", "50 %"]),
        Amendment(
            **of, kind="change", state="made", reason="misread", version_before=1, asked_at=NOW,
            wanted={"weight": "12-8", "notes": None},
        ),
    ]  # fmt: skip


def columns(row: models.Model) -> dict[str, Any]:
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}


@pytest.mark.parametrize("number", range(5), ids=["return", "part", "catch line", "conditions", "amendment"])
def test_what_is_written_is_what_the_orm_writes(heron_small: SmallClub, number: int) -> None:
    row = rows_of(heron_small)[number]
    stored = type(row)._base_manager
    assert insert_all([row]) == [row] and row.pk is not None and not row._state.adding
    ours = columns(stored.get(pk=row.pk))
    stored.filter(pk=row.pk).delete()
    row.pk = None
    [theirs] = stored.bulk_create([row])
    assert {**columns(stored.get(pk=theirs.pk)), "id": 0} == {**ours, "id": 0}


def test_each_of_many_rows_has_its_own_key(heron_small: SmallClub) -> None:
    """Also where the database takes fewer values at once than there are."""
    rows = insert_all(session_of(heron_small, weight_g=1 + number) for number in range(300))
    told = dict(Return.objects.values_list("pk", "weight_g"))
    assert [told[row.pk] for row in rows] == list(range(1, 301))


def test_rows_of_several_kinds_are_written_at_once(heron_small: SmallClub) -> None:
    rows = rows_of(heron_small)
    insert_all(rows)
    assert all(type(row)._base_manager.get(pk=row.pk).uid == row.uid for row in rows)  # type: ignore[attr-defined]


def test_nothing_to_write_asks_the_database_nothing(heron_small: SmallClub) -> None:
    with CaptureQueriesContext(connection) as asked:
        assert insert_all([]) == []
    assert len(asked) == 0


def test_a_row_that_is_there_already_is_refused(heron_small: SmallClub) -> None:
    first = insert_all([session_of(heron_small)])[0]
    with pytest.raises(IntegrityError), transaction.atomic():
        insert_all([session_of(heron_small, uid=first.uid)])
