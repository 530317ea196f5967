"""What a sheet lands is asked about by the same rules as what a phone hands in, without reading every row."""

from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clubdata.models import Doubt, Return, Water
from clubdata.rules.plausibility import questions_about
from clubdata.services.doubts import figures_of, with_figures
from tests.unit.clubdata.intake.sheets import Desk, codes, row, small_club

RULES = {"hook_baits_not_allowed": ["caster"], "night_fishing": False}


@pytest.fixture
def desk(db: None, tmp_path: Path) -> Desk:
    club = small_club()
    Water.objects.filter(club=club).update(rules=RULES)
    return Desk(club, tmp_path)


def asked(desk: Desk) -> list[tuple[str, str]]:
    found = Doubt.objects.filter(club=desk.club).order_by("session__fished_on", "code")
    return [(f"{one.session.fished_on:%d %b}", one.code) for one in found.select_related("session")]


def test_rows_land_and_are_asked_about(desk: Desk) -> None:
    report = desk.take(
        row(),
        row(date="02/05/2024", hook_bait="caster"),
        row(date="03/12/2023", hours="9", session="match", match="A1"),
        row(date="04/12/2023", hours="11"),
        row(date="05/06/2023", hours="11"),
    )
    assert codes(report) == [] and report["landed"] == 5
    assert asked(desk) == [
        ("03 Dec", "match_beyond_daylight"),
        ("04 Dec", "hours_beyond_daylight"),
        ("02 May", "hook_bait_not_allowed"),
    ]


def test_a_second_time_nothing_is_asked_again(desk: Desk) -> None:
    desk.take(row(hook_bait="caster"))
    desk.take(row(hook_bait="caster"))
    assert len(asked(desk)) == 1


def test_a_rehearsal_asks_nothing(desk: Desk) -> None:
    desk.take(row(hook_bait="caster"), dry_run=True)
    assert asked(desk) == [] and not Return.objects.exists()


def test_ordinary_rows_cost_no_query_each(desk: Desk) -> None:
    def queries(*rows: dict[str, Any]) -> int:
        with CaptureQueriesContext(connection) as captured:
            desk.take(*rows)
        return len(captured)

    few = queries(row(date="01/01/2020"))
    many = queries(*(row(date=f"{day:02}/{month:02}/2021") for day in range(1, 28) for month in range(1, 9)))
    assert many <= few + 2


HOURS = st.sampled_from(["1", "4.5", "6", "7.75", "8", "9.5", "12", "16", "18", "23"])
DAYS = st.sampled_from(["05/01/2024", "21/03/2024", "21/06/2024", "10/10/2023", "21/12/2023"])
ROWS = st.tuples(HOURS, DAYS, st.sampled_from(["maggots", "caster"]), st.sampled_from(["match", "pleasure"]))


@given(
    told=st.lists(ROWS, max_size=6, unique=True), rules=st.sampled_from([{}, RULES, {"night_fishing": True}])
)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_database_finds_every_row_that_a_rule_asks_about(
    told: list[tuple[str, str, str, str]], rules: dict[str, Any], desk: Desk
) -> None:
    Return.objects.all().delete()
    Water.objects.filter(club=desk.club).update(rules=rules)
    desk.take(
        *(
            row(
                hours=hours,
                date=day,
                hook_bait=bait,
                session=kind,
                match=f"M{day}" if kind == "match" else "",
            )
            for hours, day, bait, kind in told
        )
    )
    wanted = {
        (session.pk, question.code)
        for session in with_figures(Return.objects.all())
        for question in questions_about(figures_of(session))
    }
    assert set(Doubt.objects.values_list("session", "code")) == wanted
