"""Importing: what lands, what is refused, what was there already."""

import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db.models import Sum

from clubdata.demo.files import CLUB_FILE, RETURNS_FILE
from clubdata.intake import cells
from clubdata.models import Club, Conditions, Job, Match, Outcome, Return, SessionPart, StagedReturn
from clubdata.rules.units import Weighing, WeighingUnit, format_as_weighed
from clubdata.services.clubs import setup_club
from tests.unit.clubdata.intake.sheets import GOOD, HEADERS, NOON, Desk, as_text, codes, row, small_club

pytestmark = pytest.mark.django_db


def test_a_row_lands_with_everything_it_says(desk: Desk) -> None:
    report = desk.take(row(session="M", match="SPR-1", notes="windy"))
    landed = Return.objects.get()
    assert (report["rows_read"], report["landed"], report["problems"]) == (1, 1, [])
    assert (landed.water.name, landed.peg.label, landed.member.number) == ("Alder Pond", "1", "M1")
    assert (landed.fished_on, landed.hours, landed.session_kind) == (date(2024, 5, 1), Decimal(5), "match")
    assert (landed.outcome, landed.weight_g, landed.weight_typed) == (Outcome.WEIGHED, 5656, "12-7-8")
    assert (landed.source, landed.notes, landed.match.code) == ("sheet", "windy", "SPR-1")
    part, conditions = SessionPart.objects.get(), Conditions.objects.get()
    assert (part.session, part.hook_bait.name, part.rig_type.name) == (landed, "maggot, live", "tapered shot")
    assert (part.distance_m, part.part_order) == (Decimal("11.5"), 1)
    assert (conditions.session, conditions.wind_force, conditions.water_temperature_c) == (
        landed,
        3,
        Decimal("12.5"),
    )


def test_a_weight_comes_back_at_the_step_it_was_weighed_to(desk: Desk) -> None:
    desk.take(row())
    landed = Return.objects.get()
    weighing = Weighing(landed.weight_g, WeighingUnit(landed.weight_unit), landed.weight_step)
    assert format_as_weighed(weighing) == "12-7-8"


@pytest.mark.parametrize(
    ("typed", "outcome", "weight_g"),
    [("blank", Outcome.BLANK, 0), ("dnw", Outcome.DID_NOT_WEIGH, None), ("abt 7lb", Outcome.ESTIMATED, 3175)],
)
def test_a_blank_is_a_zero_and_not_weighed_is_none(
    desk: Desk, typed: str, outcome: str, weight_g: int | None
) -> None:
    report = desk.take(row(weight=typed))
    assert Return.objects.values_list("outcome", "weight_g").get() == (outcome, weight_g)
    assert (report["blanks"], report["did_not_weigh"], report["estimated"]) == tuple(
        int(outcome == counted) for counted in (Outcome.BLANK, Outcome.DID_NOT_WEIGH, Outcome.ESTIMATED)
    )


def test_a_bad_required_cell_refuses_its_row_and_every_bad_cell_is_named(desk: Desk) -> None:
    report = desk.take(row(), row(date="31/02/2024", hours="0", hook_bait="Maggit"), row(peg="2"))
    assert (report["landed"], report["refused"]) == (2, 1)
    assert codes(report) == [
        (3, "Date", "date_not_understood"),
        (3, "Hours", "hours_out_of_range"),
        (3, "Hook bait", "hook_bait_unknown"),
    ]
    assert report["problems"][2]["value"] == "Maggit"
    assert "'maggot" in report["problems"][2]["message"]


@pytest.mark.parametrize("column", ["date", "water", "peg", "member", "hours", "weight"])
def test_an_empty_required_cell_is_a_problem(desk: Desk, column: str) -> None:
    report = desk.take(row(**{column: " "}))
    assert report["refused"] == 1
    assert codes(report) == [(2, HEADERS[column], f"{column}_missing")]


@pytest.mark.parametrize(
    ("column", "typed"),
    [
        ("hook_bait", "cheese"),
        ("distance", "1300"),
        ("rig_type", "?"),
        ("wind", "F13"),
        ("water_temperature", "99"),
    ],
)
def test_a_bad_optional_cell_lands_its_row_with_that_cell_empty(desk: Desk, column: str, typed: str) -> None:
    report = desk.take(row(**{column: typed}))
    assert (report["landed"], report["problem_count"]) == (1, 1)
    part, conditions = SessionPart.objects.get(), Conditions.objects.get()
    stored = {
        "hook_bait": part.hook_bait,
        "distance": part.distance_m,
        "rig_type": part.rig_type,
        "wind": conditions.wind_force,
        "water_temperature": conditions.water_temperature_c,
    }
    assert [name for name, value in stored.items() if value is None] == [column]


def test_empty_optional_cells_are_no_problem(desk: Desk) -> None:
    optional = ("session", "match", "hook_bait", "distance", "rig_type", "wind", "water_temperature", "notes")
    report = desk.take(row(**dict.fromkeys(optional, "")))
    assert (report["landed"], report["problems"]) == (1, [])
    assert Return.objects.get().session_kind == "pleasure"


def test_a_peg_belongs_to_its_water(desk: Desk) -> None:
    report = desk.take(row(peg="12a"), row(water="Brick Canal", peg="12A"))
    assert codes(report) == [(3, "Peg", "peg_unknown")]
    assert "no peg 12A; the nearest label is 1" in report["problems"][0]["message"]


def test_a_missing_peg_is_answered_with_the_labels_on_both_sides_of_it(desk: Desk) -> None:
    report = desk.take(row(peg="7"), row(peg="0"), row(peg="9" * 5_000))
    assert [problem["message"].rpartition("; ")[2] for problem in report["problems"]] == [
        "the nearest labels are 2, 12A",
        "the nearest label is 1",
        "the nearest label is 12A",
    ]


def test_many_unknown_members_and_pegs_are_told_as_fast_as_known_ones(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def compared(*_: Any) -> None:
        raise AssertionError("no number or label is compared with every other")

    monkeypatch.setattr(cells, "SequenceMatcher", compared)
    assert desk.take(*(row(member=f"X{n}", peg=f"P{n}") for n in range(50)))["problem_count"] == 100


def test_an_unknown_water_names_the_nearest_and_makes_no_new_one(desk: Desk) -> None:
    report = desk.take(row(water="Elder Pond"))
    assert "'Alder Pond'" in report["problems"][0]["message"]
    assert desk.club.pk and Return.objects.count() == 0


def test_another_clubs_words_are_unknown_here(desk: Desk) -> None:
    small_club(slug="other", members=[{"number": "X9"}], hook_baits=[{"name": "secret paste"}])
    report = desk.take(row(member="X9"), row(hook_bait="secret paste"))
    assert codes(report) == [(2, "Member", "member_unknown"), (3, "Hook bait", "hook_bait_unknown")]
    assert "X9" not in report["problems"][0]["message"]


def test_a_pleasure_session_has_no_match_code(desk: Desk) -> None:
    report = desk.take(row(session="p", match="SPR-1"))
    assert codes(report) == [(2, "Match", "match_code_on_pleasure")]
    assert Return.objects.get().match is None and Match.objects.count() == 0


def test_an_unreadable_session_is_a_match_exactly_when_it_has_a_code(desk: Desk) -> None:
    report = desk.take(row(session="cup", match="SPR-1"), row(session="cup", peg="2"))
    assert [code for _, _, code in codes(report)] == ["session_not_understood"] * 2
    assert list(Return.objects.order_by("id").values_list("session_kind", flat=True)) == ["match", "pleasure"]


def test_matches_seen_first_here_are_reported_once(desk: Desk) -> None:
    report = desk.take(
        *(row(session="m", match=code, peg=peg) for code, peg in (("SPR-1", "1"), ("spr-1", "2")))
    )
    assert report["created"] == [
        {"club": "alder", "code": "SPR-1", "water": "Alder Pond", "date": "2024-05-01"}
    ]
    assert Return.objects.filter(match__code="SPR-1").count() == 2
    again = desk.take(row(session="m", match="SPR-1", peg="12A"))
    assert (again["landed"], again["created"]) == (1, [])


@pytest.mark.parametrize("other", [{"date": "02/05/2024"}, {"water": "Brick Canal"}])
def test_a_match_code_means_one_day_on_one_water(desk: Desk, other: dict[str, str]) -> None:
    report = desk.take(row(session="m", match="SPR-1"), row(session="m", match="SPR-1", **other))
    assert (report["landed"], codes(report)) == (2, [(3, "Match", "match_conflict")])
    assert [one.match_id is None for one in Return.objects.order_by("id")] == [False, True]


def test_a_refused_row_makes_no_match(desk: Desk) -> None:
    report = desk.take(row(session="m", match="SPR-1", hours="0"))
    assert (report["created"], Match.objects.count()) == ([], 0)


def test_the_same_row_twice_is_a_duplicate(desk: Desk) -> None:
    report = desk.take(row(), row(date="2024-05-01", hook_bait="caster", weight="12lb 7oz 8dr"))
    assert (report["landed"], report["duplicates"], report["problems"]) == (1, 1, [])


def test_the_same_file_twice_lands_nothing(desk: Desk) -> None:
    rows = (row(), row(peg="2", weight="dnw"), row(peg="12A", hours="61"))
    desk.take(*rows)
    revision = Club.objects.get(pk=desk.club.pk).revision
    report = desk.take(*rows)
    assert (report["landed"], report["duplicates"], report["refused"]) == (0, 2, 1)
    assert Club.objects.get(pk=desk.club.pk).revision == revision


def test_the_row_of_a_removed_return_does_not_bring_it_back(desk: Desk) -> None:
    desk.take(row())
    Return.objects.update(removed_at=NOON)
    again = desk.take(row())
    assert (again["landed"], again["duplicates"]) == (0, 1)
    assert not Return.objects.exists()


def test_a_weight_that_changed_since_is_reported_and_not_landed(desk: Desk) -> None:
    desk.take(row())
    report = desk.take(row(weight="12-7-9"))
    assert (report["landed"], report["refused"]) == (0, 1)
    assert codes(report) == [(2, "Weight", "differs")]
    assert "5656 g" in report["problems"][0]["message"]
    assert Return.objects.get().weight_g == 5656


def test_a_second_session_of_the_day_on_one_peg_is_not_lost_without_a_word(desk: Desk) -> None:
    morning, evening = row(weight="blank", hours="3"), row(weight="blank", hours="4")
    report = desk.take(morning, evening)
    assert (report["landed"], report["duplicates"], report["refused"]) == (1, 0, 1)
    assert codes(report) == [(3, "Hours", "differs")]
    problem = report["problems"][0]
    assert (problem["value"], "recorded as Blank in 3 h;" in problem["message"]) == ("4", True)
    again = desk.take(row(weight="blank", hours="3.00"), evening)
    assert (again["duplicates"], codes(again)) == (1, [(3, "Hours", "differs")])


def test_an_estimate_differs_from_a_weight(desk: Desk) -> None:
    report = desk.take(row(weight="7lb"), row(weight="abt 7lb"))
    assert (report["landed"], codes(report)) == (1, [(3, "Weight", "differs")])


def test_landing_raises_the_clubs_revision_once(desk: Desk) -> None:
    desk.take(row(), row(peg="2"))
    assert Club.objects.get(pk=desk.club.pk).revision == desk.club.revision + 1


def test_a_row_with_too_many_cells_is_refused(desk: Desk) -> None:
    report = desk.take_bytes((as_text(row()).strip() + ",stray\r\n").encode())
    assert (report["refused"], codes(report)) == (1, [(2, "", "too_many_cells")])


def test_columns_that_the_club_never_named_are_listed(desk: Desk) -> None:
    names = {**HEADERS, "notes": "Weather"}
    report = desk.take_bytes(as_text(row(notes="sunny"), names=names).encode())
    assert (report["ignored_columns"], report["landed"]) == (["Weather"], 1)


def everything(club: Club) -> list[Any]:
    return list(
        Return.objects.filter(club=club)
        .order_by("fished_on", "peg__label")
        .values_list(
            "fished_on", "water__name", "peg__label", "member__number", "match__code", "hours", "outcome",
            "weight_g", "weight_typed", "notes", "parts__hook_bait__name", "parts__distance_m",
            "conditions__wind_force", "conditions__water_temperature_c",
        )
    )  # fmt: skip


def test_columns_in_any_order_renamed_and_any_encoding_give_the_same(desk: Desk, tmp_path: Path) -> None:
    rows = [row(notes="crème, £5"), row(peg="2", weight="abt 9oz", session="m", match="SPR-1"), row(peg="9")]
    report = desk.take(*rows)
    expected = everything(desk.club)
    assert len(expected) == 2
    order = list(reversed(HEADERS))
    renamed = {**HEADERS, "peg": "Swim", "weight": "Total"}
    conventions = {**small_club(slug="plain").conventions, "headers": renamed}
    variants = {
        "order": (as_text(*rows, columns=order).encode(), {}),
        "renamed": (as_text(*rows, columns=order, names=renamed).encode(), {"conventions": conventions}),
        "mark": (as_text(*rows).encode("utf-8-sig"), {}),
        "windows": (as_text(*rows).encode("cp1252"), {}),
        "semicolon": (as_text(*rows, delimiter=";").encode("cp1252"), {}),
    }
    for slug, (content, changes) in variants.items():
        club = small_club(slug=slug, **changes)
        told = Desk(club, tmp_path).take_bytes(content)
        assert everything(club) == expected, slug
        assert [p["code"] for p in told["problems"]] == [p["code"] for p in report["problems"]], slug
        assert told["landed"] == report["landed"], slug


def test_a_dry_run_writes_nothing_and_reports_the_same(desk: Desk) -> None:
    rows = (row(), row(), row(weight="1-2"), row(peg="2", session="m", match="SPR-1"), row(hours="0"))
    rehearsed = desk.take(*rows, dry_run=True)
    assert not any(model.objects.exists() for model in (Return, Match, Job, StagedReturn))
    assert {**desk.take(*rows), "dry_run": True} == rehearsed


def test_an_import_leaves_neither_staging_nor_its_upload(desk: Desk, settings: Any) -> None:
    desk.take(row())
    assert StagedReturn.objects.count() == 0
    assert list(settings.UPLOAD_DIR.iterdir()) == []


def test_every_row_counts_once(desk: Desk) -> None:
    report = desk.take(row(), row(), row(weight="1-2"), row(peg="2"), row(peg="77"))
    assert report["rows_read"] == report["landed"] + report["refused"] + report["duplicates"] == 5


def test_the_smallest_sheet_has_the_required_columns_only(desk: Desk) -> None:
    columns = ["weight", "hours", "member", "peg", "water", "date"]
    assert desk.take_bytes(as_text(GOOD, columns=columns).encode())["landed"] == 1
    assert Conditions.objects.count() == 0


@pytest.mark.slow
def test_the_invented_clubs_six_seasons(tmp_path: Path) -> None:
    """The counts are those that the maker of the sheet put into it."""
    # The sheet runs to the end of 2024; its one date in the future is 2099.
    late = NOON.replace(year=2025)
    club = setup_club(description=json.loads(CLUB_FILE.read_text()), actor=None, now=late).club
    content = RETURNS_FILE.read_bytes()
    desk = Desk(club, tmp_path, clock=lambda: late)
    rehearsed = desk.take_bytes(content, dry_run=True)
    report = desk.take_bytes(content)
    expected = {
        "rows_read": 6150,
        "landed": 6129,
        "refused": 12,
        "duplicates": 9,
        "blanks": 494,
        "did_not_weigh": 348,
        "estimated": 1438,
    }
    assert {name: report[name] for name in expected} == expected
    assert {**report, "dry_run": True} == rehearsed
    assert Return.objects.filter(club=club).count() == SessionPart.objects.filter(club=club).count() == 6129
    assert Return.objects.filter(club=club, outcome=Outcome.DID_NOT_WEIGH, weight_g=None).count() == 348
    assert Match.objects.filter(club=club).count() == report["created_count"] == len(report["created"])
    told = Return.objects.filter(club=club, catch_lines__isnull=False).annotate(
        lines_g=Sum("catch_lines__weight_g")
    )
    assert 2000 < told.count() < 3000 and not any(one.lines_g != one.weight_g for one in told)
    again = desk.take_bytes(content)
    assert (again["landed"], again["duplicates"], again["refused"]) == (0, 6138, 12)
