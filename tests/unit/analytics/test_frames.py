"""What the fit reads of a club's returns."""

import uuid
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd
import pytest
from django.test.utils import CaptureQueriesContext

from analytics import frames, rows
from analytics.frames import load_frame
from analytics.rows import fetched_rows, read_rows
from clubdata.models import CatchLine, Conditions, HookBait, Outcome, Return, RigType, SessionPart
from tests.factories import (
    SmallClub,
    make_club,
    make_match,
    make_member,
    make_pegs,
    make_return,
    make_water,
    make_word,
)
from tests.unit.analytics.conftest import StoredClub

CODES = ["water", "peg", "angler", "match_day", "hook_bait", "rig_type", "method", "outcome"]
NUMBERS = ["peg_order", "hours", "weight_g", "bound_g", "distance_m", "wind_force", "water_temperature_c"]


@pytest.fixture
def heron_small_with_everything(heron_small: SmallClub) -> SmallClub:
    """Every outcome, sessions of none, one and three parts, weighed parts, half known conditions."""
    for outcome in Outcome:
        hours = None if outcome == Outcome.DID_NOT_FISH else Decimal("4.25")
        hand_in(heron_small, outcome=outcome, hours=hours, rods=2)
    CatchLine.objects.create(
        club=heron_small.club,
        session=Return.objects.get(outcome=Outcome.COUNTED_ONLY),
        species=heron_small.roach,
        weight_g=900,
    )
    unplaced = make_return(heron_small.member, heron_small.pegs["1"])
    Return.objects.filter(pk=unplaced.pk).update(peg=None)
    Conditions.objects.create(club=heron_small.club, session=unplaced, water_temperature_c=Decimal("-0.5"))
    caster, reds = heron_small.caster, heron_small.red_maggot
    session_of_parts(heron_small, (caster, 1.25, None), (None, None, None), (reds, None, None))
    session_of_parts(heron_small, (caster, 2, 1820), (reds, None, 1000))
    return heron_small


def hand_in(small: SmallClub, **values: object) -> None:
    make_return(
        small.member,
        small.pegs["3"],
        part={"hook_bait": small.caster, "rig_type": small.bulk, "distance_m": Decimal("9.5")},
        **values,
    )


def test_a_row_carries_codes_and_no_names(heron_small: SmallClub) -> None:
    match = make_match(heron_small.mere)
    hand_in(heron_small, match=match, session_kind="match", fished_on=date(2024, 5, 1), rods=2)
    row = load_frame(club=heron_small.club).frame.iloc[0]
    assert row["water"] == heron_small.mere.uid.hex
    assert row["peg"] == heron_small.pegs["3"].uid.hex
    assert row["angler"] == heron_small.member.uid.hex
    assert row["hook_bait"] == heron_small.caster.uid.hex
    assert row["match_day"] == match.uid.hex
    assert (row["distance_m"], row["peg_order"], row["weight_g"]) == (9.5, 3.0, 2820.0)
    assert row["fished_on"] == pd.Timestamp(2024, 5, 1)
    assert bool(row["is_match"]) is True
    assert row["hours"] == 10.0, "five hours with two rods are ten rod-hours"
    assert np.isnan(row["wind_force"])


def test_every_column_has_its_type(stored_club: StoredClub) -> None:
    frame = load_frame(club=stored_club.club).frame
    assert set(frame.columns) == {*CODES, *NUMBERS, "session", "fished_on", "is_match"}
    for name in CODES:
        categories = frame[name].cat.categories
        assert categories.tolist() == sorted(set(frame[name].dropna())), "those that occur, in order"
    assert {str(frame[name].dtype) for name in NUMBERS} == {"float64"}
    assert (str(frame["fished_on"].dtype), str(frame["is_match"].dtype)) == ("datetime64[s]", "bool")
    assert str(frame["session"].dtype) == "int64"


def test_what_was_not_recorded_is_missing_and_not_a_word(heron_small: SmallClub) -> None:
    make_return(heron_small.member, heron_small.pegs["1"])
    frame = load_frame(club=heron_small.club).frame
    for name in ("hook_bait", "rig_type", "match_day"):
        assert frame[name].cat.codes.tolist() == [-1] and frame[name].cat.categories.empty


def test_a_guest_is_not_the_member_who_brought_them(heron_small: SmallClub) -> None:
    hand_in(heron_small)
    hand_in(heron_small, guest=True)
    anglers = load_frame(club=heron_small.club).frame["angler"]
    assert sorted(anglers.isna()) == [False, True]


def test_a_return_without_a_peg_has_no_place_on_the_bank(heron_small: SmallClub) -> None:
    hand_in(heron_small)
    hand_in(heron_small)
    unplaced = Return.objects.order_by("uid")[0]
    Return.objects.filter(pk=unplaced.pk).update(peg=None)
    frame = load_frame(club=heron_small.club).frame
    assert frame["peg"].cat.codes.tolist() == [-1, 0]
    assert np.isnan(frame["peg_order"][0]) and frame["peg_order"][1] == 3.0


def session_of_parts(small: SmallClub, *parts: tuple[Any, float | None, int | None], **values: Any) -> Return:
    """A session whose parts are bait, hours and weight in grams."""
    session = make_return(small.member, small.pegs["1"], **values)
    for order, (bait, hours, weight_g) in enumerate(parts, start=1):
        SessionPart.objects.create(
            club=small.club,
            session=session,
            part_order=order,
            hook_bait=bait,
            hours=None if hours is None else Decimal(hours),
            weight_g=weight_g,
        )
    return session


def test_a_session_of_several_parts_is_a_row_a_part_with_hours_shared(heron_small: SmallClub) -> None:
    caster, reds = heron_small.caster, heron_small.red_maggot
    session_of_parts(heron_small, (caster, 1, None), (reds, 3, None), (caster, None, None), rods=2)
    loaded = load_frame(club=heron_small.club)
    frame = loaded.frame
    assert frame["session"].tolist() == [0, 0, 0] and loaded.returns == 1
    assert frame["hook_bait"].tolist() == [caster.uid.hex, reds.uid.hex, caster.uid.hex]
    assert frame["hours"].tolist() == [2.0, 6.0, 2.0], "an hour is left to the third part, with two rods"
    assert frame["weight_g"].tolist() == [2820.0] * 3, "the total stands on each part"


def test_parts_that_were_each_weighed_are_sessions_of_one_return(heron_small: SmallClub) -> None:
    caster, reds = heron_small.caster, heron_small.red_maggot
    session_of_parts(heron_small, (caster, 2, 1820), (reds, 3, 1000))
    loaded = load_frame(club=heron_small.club)
    assert loaded.frame["session"].tolist() == [0, 1]
    assert loaded.frame["weight_g"].tolist() == [1820.0, 1000.0]
    assert loaded.returns == 1 and loaded.outcomes() == {"weighed": 1}
    assert loaded.uid(0) == loaded.uid(1) == Return.objects.get().uid


@pytest.mark.parametrize("outcome", [Outcome.OVER_NET_LIMIT, Outcome.WEIGHED])
def test_the_total_stands_where_a_part_was_not_weighed_or_the_total_is_a_bound(
    heron_small: SmallClub, outcome: Outcome
) -> None:
    second = 1000 if outcome == Outcome.OVER_NET_LIMIT else None
    parts = (heron_small.caster, 2, 1820), (heron_small.red_maggot, 3, second)
    session_of_parts(heron_small, *parts, outcome=outcome)
    frame = load_frame(club=heron_small.club).frame
    assert frame["session"].tolist() == [0, 0] and frame["weight_g"].tolist() == [2820.0, 2820.0]


def test_rows_are_in_the_order_of_the_returns_ids_and_of_the_parts(heron_small: SmallClub) -> None:
    caster, reds = heron_small.caster, heron_small.red_maggot
    # The halves of these ids are alike, one by one.
    uids = [uuid.UUID(int=(high << 64) | low) for high in (1 << 63, 5) for low in (1 << 63, 7)]
    for uid in uids:
        session = make_return(heron_small.member, heron_small.pegs["1"], uid=uid)
        for order, bait in ((2, reds), (1, caster)):
            SessionPart.objects.create(
                club=heron_small.club, session=session, part_order=order, hook_bait=bait
            )
    loaded = load_frame(club=heron_small.club)
    assert [loaded.uid(session) for session in range(4)] == sorted(uids)
    assert loaded.frame["session"].tolist() == [0, 0, 1, 1, 2, 2, 3, 3]
    assert loaded.frame["hook_bait"].tolist() == [caster.uid.hex, reds.uid.hex] * 4


def test_weights_that_are_at_least_come_as_bounds(heron_small: SmallClub) -> None:
    expected: dict[uuid.UUID, float] = {}
    for outcome, lines, bound in (
        (Outcome.OVER_NET_LIMIT, [], 2820.0),
        (Outcome.COUNTED_ONLY, [1200, None], 1200.0),
        (Outcome.COUNTED_ONLY, [1200, 300], 1500.0),
        (Outcome.COUNTED_ONLY, [None, None], np.nan),
        (Outcome.COUNTED_ONLY, [], np.nan),
        (Outcome.WEIGHED, [1200, 300], np.nan),
        (Outcome.DID_NOT_WEIGH, [1200], np.nan),
    ):
        session = make_return(heron_small.member, heron_small.pegs["1"], outcome=outcome)
        for species, weight_g in zip((heron_small.roach, heron_small.bream), lines, strict=False):
            CatchLine.objects.create(
                club=heron_small.club, session=session, species=species, weight_g=weight_g
            )
        expected[session.uid] = bound
    loaded = load_frame(club=heron_small.club)
    found = {loaded.uid(session): bound for session, bound in enumerate(loaded.frame["bound_g"])}
    assert [found[uid] for uid in expected] == pytest.approx(list(expected.values()), nan_ok=True)
    assert loaded.frame["weight_g"].isna().sum() == 5, "a bound is no weight"


def test_who_did_not_fish_is_a_row_without_hours(heron_small: SmallClub) -> None:
    make_return(heron_small.member, heron_small.pegs["1"], outcome=Outcome.DID_NOT_FISH, hours=None)
    assert np.isnan(load_frame(club=heron_small.club).frame["hours"][0])


def test_as_many_queries_whatever_the_number_of_rows(stored_club: StoredClub) -> None:
    from django.db import connection

    with CaptureQueriesContext(connection) as queries:
        loaded = load_frame(club=stored_club.club)
    assert len(loaded.frame) == len(stored_club.frame)
    assert len(queries) == 10, "the revision, the rows, and then seven kinds of ids and the pegs' places"
    assert "revision" in queries[0]["sql"]


def test_the_frame_says_what_was_stored(stored_club: StoredClub) -> None:
    frame, truth = load_frame(club=stored_club.club).frame, stored_club.frame
    assert frame["weight_g"].sum() == truth["weight_g"].sum()
    assert frame["hours"].sum() == truth["hours"].sum()
    assert frame["distance_m"].isna().sum() == truth["distance_m"].isna().sum()
    assert frame["is_match"].sum() == truth["is_match"].sum()
    caster = stored_club.baits["caster"].uid.hex
    assert (frame["hook_bait"] == caster).sum() == (truth["hook_bait"] == "caster").sum()


def test_the_fingerprint_changes_with_a_weight_and_not_with_the_order(heron_small: SmallClub) -> None:
    hand_in(heron_small)
    hand_in(heron_small, fished_on=date(2023, 5, 1))
    first = load_frame(club=heron_small.club)
    assert first.fingerprint == load_frame(club=heron_small.club).fingerprint
    session = heron_small.member.returns.first()
    assert session is not None
    session.weight_g = 2830
    session.save()
    assert load_frame(club=heron_small.club).fingerprint != first.fingerprint


def club_of_known_ids() -> Any:
    """A club whose every public id is known, and so its fingerprint."""
    uids = (uuid.uuid5(uuid.NAMESPACE_OID, f"frame {number}") for number in range(100))
    club = make_club("dipper-small", uid=next(uids))
    water = make_water(club, "Dipper Mere", uid=next(uids))
    peg = make_pegs(water, "1", uid=next(uids))["1"]
    member = make_member(club, "M1", uid=next(uids))
    bait = make_word(HookBait, club, "caster", uid=next(uids))
    rig = make_word(RigType, club, "bulk", uid=next(uids))
    match = make_match(water, "M", uid=next(uids))
    for number, outcome in enumerate(Outcome):
        kind = {"match": match, "session_kind": "match"} if number % 2 else {}
        hours = None if outcome == Outcome.DID_NOT_FISH else Decimal("4.75")
        session = make_return(
            member, peg, uid=next(uids), outcome=outcome, hours=hours, rods=1 + number % 3, **kind
        )
        Conditions.objects.create(
            club=club, session=session, wind_force=number, water_temperature_c=Decimal("-0.1") * number
        )
        for order in range(number % 3):
            SessionPart.objects.create(
                club=club,
                session=session,
                part_order=order + 1,
                hook_bait=bait if order else None,
                rig_type=None if order else rig,
                distance_m=Decimal("11.35"),
                hours=Decimal("1.1") if order else None,
            )
    return club


#: The suite runs on SQLite and on PostgreSQL: whoever changes what is hashed changes this line.
FINGERPRINT = "9301c1cb2ffa92bb86729fa0cf1a39a9b070d247ea38f1e50ee30fa16d8c5591"


def test_the_fingerprint_is_the_same_on_every_database(db: None) -> None:
    assert load_frame(club=club_of_known_ids()).fingerprint == FINGERPRINT


@pytest.mark.postgresql
@pytest.mark.parametrize("members", ["stored_club", "heron_small_with_everything", "nobody"])
def test_copied_and_fetched_rows_make_the_same_frame(
    members: str, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, db: None
) -> None:
    from django.db import connection

    if connection.vendor != "postgresql":
        pytest.skip("DATABASE_URL names no PostgreSQL")
    club = make_club("coot-small") if members == "nobody" else request.getfixturevalue(members).club
    copied = load_frame(club=club)
    monkeypatch.setattr(frames, "read_rows", fetched_rows)
    fetched = load_frame(club=club)
    pd.testing.assert_frame_equal(copied.frame, fetched.frame, check_exact=True)
    assert copied.fingerprint == fetched.fingerprint
    assert (copied.uid_halves == fetched.uid_halves).all()


@pytest.mark.postgresql
def test_rows_are_copied_where_the_database_can(
    heron_small_with_everything: SmallClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In blocks that end within the rows, and by the very table that is fetched elsewhere."""
    from django.db import connection

    if connection.vendor != "postgresql":
        pytest.skip("DATABASE_URL names no PostgreSQL")
    club = heron_small_with_everything.club
    monkeypatch.setattr(rows, "_BLOCK_BYTES", 200)
    with CaptureQueriesContext(connection) as queries:
        copied = read_rows(club=club)
    assert [query["sql"].split(" ")[0] for query in queries] == ["COPY"]
    fetched = fetched_rows(club=club)
    assert copied.schema == fetched.schema
    keys = [(name, "ascending") for name in ("uid_high", "uid_low", "part_order")]
    assert copied.sort_by(keys).to_pylist() == fetched.sort_by(keys).to_pylist()
    assert copied.num_rows > len(Outcome)


def test_another_clubs_returns_are_never_read(heron_small: SmallClub, other_club: SmallClub) -> None:
    hand_in(heron_small)
    assert load_frame(club=other_club.club).frame.empty


def test_outcomes_are_counted(heron_small: SmallClub) -> None:
    hand_in(heron_small)
    hand_in(heron_small, outcome=Outcome.BLANK)
    assert load_frame(club=heron_small.club).outcomes() == {"blank": 1, "weighed": 1}
