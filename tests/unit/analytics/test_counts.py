"""How many returns stand behind each choice, of how many members, and how recent they are."""

from datetime import date
from decimal import Decimal

import pytest

from analytics.counts import count_support
from analytics.frames import load_frame
from clubdata.models import Outcome
from tests.factories import SmallClub, make_return
from tests.unit.analytics.conftest import StoredClub
from tests.unit.analytics.test_frames import hand_in, session_of_parts


@pytest.mark.parametrize("outcome", [Outcome.DID_NOT_WEIGH, Outcome.DID_NOT_FISH])
def test_support_counts_only_returns_that_a_fit_uses(heron_small: SmallClub, outcome: Outcome) -> None:
    hand_in(heron_small)
    hand_in(heron_small, outcome=outcome, hours=None if outcome == Outcome.DID_NOT_FISH else Decimal(5))
    support = count_support(load_frame(club=heron_small.club).frame)
    caster, bulk = heron_small.caster.uid.hex, heron_small.bulk.uid.hex
    assert support["choices"] == [[heron_small.mere.uid.hex, caster, bulk, None, 19, 1]]
    behind, day = support["behind"][heron_small.mere.uid.hex], "2024-05-01"
    assert behind["returns"] == [[1, day, 1]]
    assert behind["bait_month"] == [[caster, 5, 1, day, 1]]
    assert behind["bait_peg"] == [[heron_small.pegs["3"].uid.hex, caster, 1, day, 1]]
    assert behind["bait_rig"] == [[caster, bulk, 1, day, 1]]
    assert behind["bait_near"] == [[caster, step, 1, day, 1] for step in (17, 18, 19, 20, 21)]


def test_support_counts_members_once_and_keeps_the_last_day(heron_small: SmallClub) -> None:
    for member, day in (
        (heron_small.member, date(2024, 5, 1)),
        (heron_small.member, date(2024, 3, 2)),
        (heron_small.other_member, date(2023, 7, 9)),
    ):
        part = {"hook_bait": heron_small.caster, "distance_m": Decimal(1)}
        make_return(member, heron_small.pegs["3"], fished_on=day, part=part)
    behind = count_support(load_frame(club=heron_small.club).frame)["behind"][heron_small.mere.uid.hex]
    assert behind["returns"] == [[3, "2024-05-01", 2]]
    assert behind["peg"] == [[heron_small.pegs["3"].uid.hex, 3, "2024-05-01", 2]]
    assert [row[1] for row in behind["bait_near"]] == [0, 1, 2, 3, 4], "no distance lies below nought"
    assert heron_small.member.uid.hex not in repr(behind)


def test_support_counts_a_session_once_for_each_choice_of_its_parts(heron_small: SmallClub) -> None:
    caster, reds = heron_small.caster.uid.hex, heron_small.red_maggot.uid.hex
    parts = [(bait, None, None) for bait in (heron_small.caster, heron_small.red_maggot, heron_small.caster)]
    session_of_parts(heron_small, *parts)
    session_of_parts(heron_small, *parts[:1])
    water, peg = heron_small.mere.uid.hex, heron_small.pegs["1"].uid.hex
    support = count_support(load_frame(club=heron_small.club).frame)
    behind, day = support["behind"][water], "2024-05-01"
    assert behind["bait"] == sorted([[caster, 2, day, 1], [reds, 1, day, 1]], key=repr)
    assert behind["bait_month"] == sorted([[caster, 5, 2, day, 1], [reds, 5, 1, day, 1]], key=repr)
    assert behind["bait_peg"] == sorted([[peg, caster, 2, day, 1], [peg, reds, 1, day, 1]], key=repr)
    expected = [[water, caster, None, None, None, 2], [water, reds, None, None, None, 1]]
    assert support["choices"] == sorted(expected, key=repr)


def test_support_counts_a_bait_once_a_session_where_it_was_fished_longest(heron_small: SmallClub) -> None:
    caster, reds = heron_small.caster, heron_small.red_maggot
    session = session_of_parts(heron_small, (caster, 1, None), (caster, 2, None), (reds, 2, None))
    for part, distance_m in zip(session.parts.order_by("part_order"), (7, 11, 13), strict=True):
        part.distance_m = distance_m
        part.save()
    support = count_support(load_frame(club=heron_small.club).frame)
    water, peg = heron_small.mere.uid.hex, heron_small.pegs["1"].uid.hex
    expected = [[water, caster.uid.hex, None, None, 22, 1], [water, reds.uid.hex, None, None, 26, 1]]
    assert support["choices"] == sorted(expected, key=repr)
    assert (support["water"], support["peg"]) == ([[water, 1]], [[peg, 1]]), "one session all the same"


def test_support_counts_what_is_only_known_to_be_at_least(heron_small: SmallClub) -> None:
    for outcome in (Outcome.OVER_NET_LIMIT, Outcome.COUNTED_ONLY, Outcome.DID_NOT_WEIGH):
        hand_in(heron_small, outcome=outcome)
    assert count_support(load_frame(club=heron_small.club).frame)["water"] == [[heron_small.mere.uid.hex, 2]]


def test_support_adds_up_to_the_truth(stored_club: StoredClub) -> None:
    """Against pandas' own grouping of the simulated rows."""
    support = count_support(load_frame(club=stored_club.club).frame)
    truth = stored_club.frame
    months = truth.groupby(["water", "hook_bait", truth["fished_on"].dt.month], dropna=False).size()
    behind = support["behind"]
    found = sorted(count for of_water in behind.values() for *_, count, _, _ in of_water["bait_month"])
    assert found == sorted(months.tolist())
    caster, water = stored_club.baits["caster"].uid.hex, stored_club.waters["water 0"].uid.hex
    (june,) = (row[2:] for row in behind[water]["bait_month"] if row[:2] == [caster, 6])
    same = truth[(truth["water"] == "water 0") & (truth["hook_bait"] == "caster")]
    same_june = same[same["fished_on"].dt.month == 6]
    last = same_june["fished_on"].max().date().isoformat()
    assert june == [months["water 0", "caster", 6], last, same_june["angler"].nunique()]
    for bait, step, *figures in behind[water]["bait_near"]:
        if bait == caster:
            near = same[(same["distance_m"] * 2 - step).abs() <= 2]
            last = near["fished_on"].max().date().isoformat()
            assert figures == [len(near), last, near["angler"].nunique()]
    steps = (truth["distance_m"] * 2).fillna(-1)
    combinations = truth.groupby(["water", "hook_bait", "rig_type", steps], dropna=False).size()
    assert sorted(row[-1] for row in support["choices"]) == sorted(combinations.tolist())
