"""What the fit reads of a club's returns."""

from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from django.test.utils import CaptureQueriesContext

from analytics.frames import count_support, load_frame
from clubdata.models import Outcome, SessionPart
from tests.factories import SmallClub, make_match, make_return
from tests.unit.analytics.conftest import StoredClub


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


def test_what_was_not_recorded_is_none_and_not_a_word(heron_small: SmallClub) -> None:
    make_return(heron_small.member, heron_small.pegs["1"])
    row = load_frame(club=heron_small.club).frame.iloc[0]
    assert row["hook_bait"] is None and row["rig_type"] is None and row["match_day"] is None


def test_a_session_of_several_parts_is_one_row_with_the_longest(heron_small: SmallClub) -> None:
    session = make_return(
        heron_small.member,
        heron_small.pegs["1"],
        part={"hook_bait": heron_small.caster, "hours": Decimal(1), "part_order": 1},
    )
    for order, hours in ((2, Decimal(3)), (3, None)):
        bait = heron_small.red_maggot if hours else heron_small.caster
        SessionPart.objects.create(
            club=heron_small.club, session=session, hook_bait=bait, hours=hours, part_order=order
        )
    frame = load_frame(club=heron_small.club).frame
    assert len(frame) == 1
    assert frame.iloc[0]["hook_bait"] == heron_small.red_maggot.uid.hex
    assert frame.iloc[0]["weight_g"] == 2820.0, "the total is never copied to the parts"


def test_one_query_for_the_rows_whatever_their_number(stored_club: StoredClub) -> None:
    from django.db import connection

    with CaptureQueriesContext(connection) as queries:
        loaded = load_frame(club=stored_club.club)
    assert len(loaded.frame) == len(stored_club.frame)
    assert len(queries) == 2, "the revision, and then the rows"
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


def test_another_clubs_returns_are_never_read(heron_small: SmallClub, other_club: SmallClub) -> None:
    hand_in(heron_small)
    assert load_frame(club=other_club.club).frame.empty


@pytest.mark.parametrize("outcome", [Outcome.DID_NOT_WEIGH, Outcome.DID_NOT_FISH, Outcome.COUNTED_ONLY])
def test_support_counts_only_returns_that_a_fit_uses(heron_small: SmallClub, outcome: Outcome) -> None:
    hand_in(heron_small)
    hand_in(heron_small, outcome=outcome, hours=None if outcome == Outcome.DID_NOT_FISH else Decimal(5))
    support = count_support(load_frame(club=heron_small.club).frame)
    caster, bulk = heron_small.caster.uid.hex, heron_small.bulk.uid.hex
    assert support["choices"] == [[heron_small.mere.uid.hex, caster, bulk, None, 19, 1]]
    assert support["bait_month"] == [[heron_small.mere.uid.hex, caster, 5, 1]]
    assert support["bait_peg"] == [[heron_small.pegs["3"].uid.hex, caster, 1]]


def test_outcomes_are_counted(heron_small: SmallClub) -> None:
    hand_in(heron_small)
    hand_in(heron_small, outcome=Outcome.BLANK)
    assert load_frame(club=heron_small.club).outcomes() == {"blank": 1, "weighed": 1}
