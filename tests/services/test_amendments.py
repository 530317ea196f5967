"""Two phones amend one return at the same moment on PostgreSQL: one of them is told."""

import threading
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection

from clubdata.models import Amendment, AmendmentKind, Return
from clubdata.services.amendments import VersionMoved, Wish, ask
from clubdata.services.members import membership
from tests.factories import NOW, make_return, make_small_club

PHONES = 6


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has one writer at a time anyway")
def test_of_many_amendments_of_one_version_exactly_one_is_made() -> None:
    small = make_small_club("heron-small")
    session = make_return(small.member, small.pegs["1"])
    who = membership(actor=small.account(), slug="heron-small")
    wish = Wish(AmendmentKind.CHANGE, 1, "misread", {})
    gate, told = threading.Barrier(PHONES), []

    def amend(number: int) -> None:
        gate.wait()
        try:
            mine = replace(wish, given={"notes": f"phone {number}"})
            ask(who=who, uid=session.uid, now=NOW + timedelta(seconds=number), wish=mine)
            told.append("made")
        except VersionMoved:
            told.append("moved")
        finally:
            connection.close()

    threads = [threading.Thread(target=amend, args=(number,)) for number in range(PHONES)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(told) == ["made"] + ["moved"] * (PHONES - 1)
    kept = Return.objects.get()
    (row,) = Amendment.objects.all()
    assert kept.version == 2
    assert row.changes == [{"field": "notes", "from": "", "to": kept.notes}]
