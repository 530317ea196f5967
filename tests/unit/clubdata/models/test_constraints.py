"""Every invariant of the records is tried against the database itself, past all Python."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from clubdata.models import (
    AccessToken,
    Account,
    Amendment,
    Attendance,
    CatchLine,
    Club,
    ClubRule,
    Conditions,
    Doubt,
    Invitation,
    Job,
    Match,
    Member,
    MemberRole,
    Peg,
    PegDepth,
    PegHazard,
    Return,
    SessionPart,
    SignIn,
    StagedReturn,
    StoredReply,
    Water,
    WaterEvent,
    WeatherReading,
)
from clubdata.models.base import SameClub
from tests.factories import NOW, SPELLINGS, SmallClub, make_match, make_return

pytestmark = pytest.mark.django_db
Row = dict[str, Any]
DAY = date(2024, 5, 1)


@pytest.fixture
def good(heron_small: SmallClub) -> dict[type[models.Model], Row]:
    """Columns of a row of each model that the database takes."""
    club, peg = heron_small.club, heron_small.pegs["1"]
    session = make_return(heron_small.member, peg)
    job = Job.objects.create(club=club, kind="import", created_at=NOW)
    rows: dict[type[models.Model], Row] = {
        Club: {"slug": "coot", "name": "Coot"},
        Account: {"username": "someone"},
        AccessToken: {
            "account": heron_small.account(), "device": "x", "digest": "0" * 64, "created_at": NOW,
            "expires_at": NOW,
        },
        Member: {"club": club, "number": "M77"},
        MemberRole: {"club": club, "member": heron_small.member, "role": "analyst"},
        Water: {"club": club, "name": "Pool", "kind": "canal", "latitude": 53, "longitude": 0},
        Peg: {"club": club, "water": heron_small.mere, "label": "77", "bank_order": 77},
        PegDepth: {"club": club, "peg": peg, "distance_m": Decimal(5), "depth_cm": 120},
        PegHazard: {"club": club, "peg": peg, "kind": "steep bank", "noted_on": DAY},
        WaterEvent: {"club": club, "water": heron_small.mere, "kind": "works", "started_on": DAY},
        Match: {"club": club, "water": heron_small.mere, "code": "M-77", "held_on": DAY},
        Return: {
            "club": club, "member": heron_small.member, "water": heron_small.mere, "peg": peg,
            "session_kind": "match", "fished_on": DAY, "hours": Decimal(5), "outcome": "weighed",
            "weight_g": 1000, "weight_typed": "1 kg", "weight_unit": "kilogram", "weight_step": Decimal(1),
            "entered_at": NOW,
        },
        SessionPart: {"club": club, "session": session},
        CatchLine: {"club": club, "session": session, "species": heron_small.roach},
        Conditions: {"club": club, "session": session},
        Job: {"club": club, "kind": "import", "created_at": NOW},
        StagedReturn: {
            "job": job, "line": 2, "uid": session.uid, "sheet_key": "k", "member_id": 1, "water_id": 1,
            "peg_id": 1, "session_kind": "match", "fished_on": DAY, "hours": Decimal(5), "outcome": "blank",
        },
        Amendment: {
            "club": club, "session": session, "kind": "change", "state": "made", "reason": "misread",
            "version_before": 1, "asked_at": NOW,
        },
        StoredReply: {"account": heron_small.account(), "key": "k", "fingerprint": "f", "created_at": NOW},
        Doubt: {
            "club": club, "session": session, "version": 1, "code": "fish_heavy", "sentence": "Please check.",
            "raised_at": NOW,
        },
        ClubRule: {"club": club, "name": "hook-16", "edited_at": NOW},
        WeatherReading: {"club": club, "station": "boathouse", "read_at": NOW},
        Attendance: {
            "club": club, "member": heron_small.member, "water": heron_small.mere, "fished_on": DAY,
            "source": "permit", "noted_at": NOW,
        },
        Invitation: {
            "club": club, "member": heron_small.member, "digest": "1" * 64, "created_at": NOW,
            "expires_at": NOW,
        },
        SignIn: {"name_digest": "n", "address_digest": "a", "outcome": "refused", "at": NOW},
    }  # fmt: skip
    for kind, spelling in SPELLINGS.items():
        entry = kind.objects.create(club=club, name="a new word")
        rows[kind] = {"club": club, "name": "another word"}
        rows[spelling] = {"club": club, "entry": entry, "folded": "a new word"}
    return rows


def insert(model: type[models.Model], row: Row) -> None:
    """Insert and let the database check now what it would check at commit."""
    with transaction.atomic():
        model._default_manager.create(**row)
        connection.check_constraints()


BROKEN: dict[str, tuple[type[models.Model], Row]] = {
    "member_role_known": (MemberRole, {"role": "king"}),
    "water_kind_known": (Water, {"kind": "sea"}),
    "water_position_on_earth": (Water, {"latitude": Decimal("90.1")}),
    "peg_depth_plausible": (Peg, {"depth_cm": 10_001}),
    "peg_depth_distance_plausible": (PegDepth, {"distance_m": Decimal("150.1")}),
    "peg_hazard_cleared_after_noted": (PegHazard, {"cleared_on": date(2024, 4, 30)}),
    "water_event_kind_known": (WaterEvent, {"kind": "flood"}),
    "water_event_ends_after_start": (WaterEvent, {"ended_on": date(2024, 4, 30)}),
    "return_session_kind_known": (Return, {"session_kind": "work"}),
    "return_outcome_known": (Return, {"outcome": "good"}),
    "return_source_known": (Return, {"source": "dream"}),
    "return_hours_within_reason": (Return, {"hours": Decimal("48.01")}),
    "return_one_to_four_rods": (Return, {"rods": 5}),
    "return_weight_agrees_with_outcome": (Return, {"weight_g": 0}),
    "return_weight_says_how_weighed": (Return, {"weight_step": None}),
    "session_part_distance_plausible": (SessionPart, {"distance_m": Decimal("150.01")}),
    "session_part_hours_within_reason": (SessionPart, {"hours": Decimal(0)}),
    "session_part_weight_plausible": (SessionPart, {"weight_g": 500_001}),
    "catch_line_biggest_within_weight": (CatchLine, {"weight_g": 10, "biggest_g": 11}),
    "conditions_wind_is_beaufort": (Conditions, {"wind_force": 13}),
    "conditions_wind_direction_in_circle": (Conditions, {"wind_from_degrees": 360}),
    "conditions_tow_known": (Conditions, {"tow": "sideways"}),
    "conditions_rain_not_negative": (Conditions, {"rain_mm": Decimal("-0.1")}),
    "conditions_cloud_in_oktas": (Conditions, {"cloud_oktas": 9}),
    "conditions_water_temperature_plausible": (Conditions, {"water_temperature_c": Decimal("40.1")}),
    "conditions_air_temperature_plausible": (Conditions, {"air_temperature_c": Decimal("-40.1")}),
    "conditions_pressure_plausible": (Conditions, {"pressure_hpa": Decimal("1100.1")}),
    "job_kind_known": (Job, {"kind": "dance"}),
    "job_state_known": (Job, {"state": "asleep"}),
    "job_running_has_lease": (Job, {"state": "running", "attempt": 1}),
    "job_ended_says_when": (Job, {"state": "finished"}),
    "amendment_kind_known": (Amendment, {"kind": "whim"}),
    "amendment_state_known": (Amendment, {"state": "lost"}),
    "amendment_awaiting_is_not_settled": (Amendment, {"state": "awaiting", "settled_at": NOW}),
    "member_protection_known": (Member, {"protection": "royal", "responsible_adult": "A. Nother"}),
    "member_protected_has_responsible_adult": (Member, {"protection": "junior"}),
    "doubt_state_known": (Doubt, {"state": "lost"}),
    "doubt_waiting_is_not_settled": (Doubt, {"settled_at": NOW}),
    "weather_reading_wind_direction_in_circle": (WeatherReading, {"wind_from_degrees": 360}),
    "weather_reading_wind_not_negative": (WeatherReading, {"wind_m_s": Decimal("-0.1")}),
    "weather_reading_cloud_in_oktas": (WeatherReading, {"cloud_oktas": 9}),
    "attendance_source_known": (Attendance, {"source": "rumour"}),
    "invitation_used_or_withdrawn": (Invitation, {"used_at": NOW, "withdrawn_at": NOW}),
    "sign_in_outcome_known": (SignIn, {"outcome": "maybe"}),
}
UNWEIGHED: Row = {"weight_unit": "", "weight_step": None}
# Further ways around the same constraints.
ALSO_BROKEN: list[tuple[str, type[models.Model], Row]] = [
    ("water_position_on_earth", Water, {"longitude": Decimal("-180.1")}),
    ("return_hours_within_reason", Return, {"hours": None}),
    ("return_hours_within_reason", Return, {"hours": Decimal(0)}),
    ("return_weight_agrees_with_outcome", Return, {"weight_g": 500_001}),
    ("return_weight_agrees_with_outcome", Return, {"weight_g": None}),
    *(
        ("return_weight_agrees_with_outcome", Return, {**UNWEIGHED, **wrong})
        for wrong in (
            {"outcome": "blank"}, {"outcome": "did_not_weigh"}, {"outcome": "counted_only"},
            {"outcome": "blank", "weight_g": None},
        )
    ),
    ("return_weight_says_how_weighed", Return, {"weight_unit": ""}),
    ("return_weight_says_how_weighed", Return, {"outcome": "blank", "weight_g": 0}),
    ("session_part_hours_within_reason", SessionPart, {"hours": Decimal("48.01")}),
    ("session_part_distance_plausible", SessionPart, {"distance_m": Decimal("-0.01")}),
    ("job_running_has_lease", Job, {"state": "running", "lease_until": NOW}),
    ("job_ended_says_when", Job, {"finished_at": NOW}),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "model", "wrong"),
    [*((name, *broken) for name, broken in BROKEN.items()), *ALSO_BROKEN],
)
def test_a_check_refuses_what_it_names(
    name: str, model: type[models.Model], wrong: Row, good: dict[type[models.Model], Row]
) -> None:
    insert(model, good[model])
    model._default_manager.order_by("-pk")[:1].get().delete()
    with pytest.raises(IntegrityError, match=name):
        insert(model, {**good[model], **wrong})


def test_a_pleasure_session_has_no_match(heron_small: SmallClub, good: dict[type[models.Model], Row]) -> None:
    match = make_match(heron_small.mere)
    with pytest.raises(IntegrityError, match="return_pleasure_has_no_match"):
        insert(Return, {**good[Return], "session_kind": "pleasure", "match": match})


def _same_club_keys() -> list[tuple[type[models.Model], SameClub]]:
    return [
        (model, constraint)
        for model in apps.get_app_config("clubdata").get_models()
        for constraint in model._meta.constraints
        if isinstance(constraint, SameClub)
    ]


KEYS = _same_club_keys()


def _foreign(model: type[models.Model], field: str, other: SmallClub) -> models.Model:
    """A row of the other club for a field of a model to point at."""
    session = make_return(other.member, other.pegs["2"])
    named: dict[str, Callable[[], models.Model]] = {
        "member": lambda: other.member,
        "water": lambda: other.mere,
        "peg": lambda: other.pegs["1"],
        "match": lambda: make_match(other.mere),
        "session": lambda: session,
        "method": lambda: other.pole,
        "hook_bait": lambda: other.caster,
        "feed": lambda: other.groundbait,
        "rig_type": lambda: other.bulk,
        "species": lambda: other.roach,
        "entry": lambda: _entry(model, other),
    }
    return named[field]()


def _entry(model: type[models.Model], other: SmallClub) -> models.Model:
    kind = next(kind for kind, spelling in SPELLINGS.items() if spelling is model)
    entry: models.Model = kind.objects.filter(club=other.club).first()
    return entry


@pytest.mark.parametrize(("model", "key"), KEYS, ids=[key.name for _, key in KEYS])
def test_no_row_points_at_another_clubs_row(
    model: type[models.Model],
    key: SameClub,
    good: dict[type[models.Model], Row],
    heron_small: SmallClub,
    other_club: SmallClub,
) -> None:
    if key.shared == "water":
        on_another_water = {"peg": heron_small.brook_pegs["1"], "match": make_match(heron_small.brook)}
        foreign: models.Model = on_another_water[key.field]
    else:
        foreign = _foreign(model, key.field, other_club)
    with pytest.raises(IntegrityError):
        insert(model, {**good[model], key.field: foreign})


def _keys_without_a_constraint() -> list[tuple[type[models.Model], str]]:
    return [
        (model, field.name)
        for model in apps.get_app_config("clubdata").get_models()
        for field in model._meta.local_fields
        if isinstance(field, models.ForeignKey) and not field.db_constraint
    ]


def test_a_key_without_a_constraint_of_its_own_is_checked_with_the_club() -> None:
    checked = {(model, key.field) for model, key in KEYS if key.shared == "club"}
    unchecked = _keys_without_a_constraint()
    assert set(unchecked) <= checked and (Return, "member") in unchecked


@pytest.mark.parametrize(
    ("model", "field"), _keys_without_a_constraint(), ids=lambda value: getattr(value, "__name__", value)
)
def test_no_row_points_at_what_is_not_there(
    model: type[models.Model], field: str, good: dict[type[models.Model], Row]
) -> None:
    nobody = 9_000_000_000
    with pytest.raises(IntegrityError):
        insert(
            model,
            {name: value for name, value in good[model].items() if name != field} | {f"{field}_id": nobody},
        )


def _unique_constraints() -> list[tuple[type[models.Model], models.UniqueConstraint]]:
    return [
        (model, constraint)
        for model in apps.get_app_config("clubdata").get_models()
        for constraint in model._meta.constraints
        # With the key among its fields a constraint holds by itself: it is there for others to refer to.
        if isinstance(constraint, models.UniqueConstraint) and "id" not in constraint.fields
    ]


UNIQUES = _unique_constraints()
# What brings a row under a conditional constraint.
CONDITIONED: dict[str, Row] = {
    "return_sheet_key_once_a_club": {"sheet_key": "the same row"},
    "job_one_fit_waiting_a_club": {"kind": "fit"},
    "job_one_study_waiting_a_club": {"kind": "study"},
    "member_account_once_a_club": {"number": "M78"},
    "amendment_one_awaiting_a_return": {"state": "awaiting"},
}


@pytest.mark.parametrize(("model", "unique"), UNIQUES, ids=[unique.name for _, unique in UNIQUES])
def test_what_stands_once_cannot_stand_twice(
    model: type[models.Model],
    unique: models.UniqueConstraint,
    good: dict[type[models.Model], Row],
    heron_small: SmallClub,
) -> None:
    row = {**good[model], **CONDITIONED.get(unique.name, {})}
    if unique.name == "member_account_once_a_club":
        row["account"] = Account.objects.create(username="twice")
    insert(model, row)
    others = _made_unlike(model, row, unique.fields)
    with pytest.raises(IntegrityError) as refused:
        insert(model, {**row, **others})
    said = str(refused.value)
    columns = [str(model._meta.get_field(name).column) for name in unique.fields]  # type: ignore[union-attr]
    assert unique.name in said or all(f".{column}" in said for column in columns), said


def _made_unlike(model: type[models.Model], row: Row, same: tuple[str, ...]) -> Row:
    """Another value for columns of the row that other unique constraints would trip over."""
    unlike: Row = {"label": "78", "bank_order": 78, "number": "M79", "line": 3, "part_order": 2}
    return {name: value for name, value in unlike.items() if name in row and name not in same}


def test_every_check_of_the_records_is_tried_here() -> None:
    checks = {
        constraint.name
        for model in apps.get_app_config("clubdata").get_models()
        for constraint in model._meta.constraints
        if isinstance(constraint, models.CheckConstraint)
    }
    assert checks == {*BROKEN, "return_pleasure_has_no_match"}
