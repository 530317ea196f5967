"""A return is kept whole or not at all, says what is wrong with it, and is read by whom it concerns."""

import uuid
from dataclasses import replace
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction

from clubdata.errors import Conflict, InvalidInput, NotFound
from clubdata.models import (
    CatchLine,
    Club,
    HookBait,
    Outcome,
    Return,
    Role,
    SessionKind,
    SessionPart,
)
from clubdata.models.returns import Tow
from clubdata.services import returns
from clubdata.services.faults import ManyInvalid
from clubdata.services.lexicon import known_entries
from clubdata.services.members import membership
from clubdata.services.returns import (
    CatchInput,
    ConditionsInput,
    HandIn,
    PartInput,
    cautions_of,
    hand_in,
    sees_in_full,
    visible_returns,
)
from tests.factories import NOW, SmallClub, make_match, make_member, make_return, make_word

pytestmark = pytest.mark.django_db

WHOLE = HandIn(
    water="Heron-Small Mere",
    fished_on=date(2024, 6, 14),
    outcome=Outcome.WEIGHED,
    peg="12A",
    started_at=time(9, 30),
    hours=Decimal("5.5"),
    weight="12-7-8",
    fish_count=40,
    notes="wind off my back",
    parts=(
        PartInput(
            method="pole", hook_bait="Reds", rig_type="TAPER", distance_m=Decimal("11.5"), weight="10-0-0"
        ),
        PartInput(method="wag", hook_bait="casters", feed="groundbait", hours=Decimal(2)),
    ),
    catch=(
        CatchInput(species="roach", fish_count=38, weight="8-0-0", biggest="0-9-0", lost_count=2),
        CatchInput(species="Bream", fish_count=2),
    ),
    conditions=ConditionsInput(water_temperature_c=Decimal("14.5"), wind_force=3, tow="slight"),
)  # fmt: skip


def give(small: SmallClub, data: HandIn = WHOLE, *, by: str = "member", now: datetime = NOW) -> Return:
    who = membership(actor=small.account(by), slug=small.club.slug)
    return hand_in(who=who, now=now, data=data)


def faults(small: SmallClub, data: HandIn, *, by: str = "member") -> dict[str, str]:
    """Field to code of what is refused; nothing may have been saved."""
    before = Club.objects.get(pk=small.club.pk).revision
    with pytest.raises(InvalidInput) as refused:
        give(small, data, by=by)
    assert not Return.objects.exists()
    assert Club.objects.get(pk=small.club.pk).revision == before
    problems = refused.value.problems if isinstance(refused.value, ManyInvalid) else (refused.value,)
    return {problem.field: problem.code for problem in problems}


def test_a_return_is_kept_with_all_its_parts(heron_small: SmallClub) -> None:
    kept = Return.objects.get(pk=give(heron_small).pk)
    assert (kept.member, kept.water, kept.peg.label) == (heron_small.member, heron_small.mere, "12A")
    # 12 lb 7 oz 8 dr by the international pound (0.45359237 kg): 5655.73 g
    assert (kept.weight_g, kept.weight_typed, kept.weight_unit) == (5656, "12-7-8", "dram")
    assert (kept.entered_by, kept.entered_at) == (heron_small.account(), NOW)
    words = [(part.method.name, part.hook_bait.name, part.distance_m) for part in kept.parts.all()]
    assert words == [("pole", "red maggot", Decimal("11.5")), ("waggler", "caster", None)]
    lines = {line.species.name: (line.fish_count, line.lost_count) for line in kept.catch_lines.all()}
    assert lines == {"roach": (38, 2), "bream": (2, 0)}
    assert kept.conditions.wind_force == 3


def test_each_return_raises_the_clubs_revision_by_one(heron_small: SmallClub) -> None:
    give(heron_small)
    give(heron_small)
    assert Club.objects.get(pk=heron_small.club.pk).revision == 2


@pytest.mark.parametrize(
    ("outcome", "changes", "stored"),
    [
        (Outcome.BLANK, {}, 0),
        (Outcome.DID_NOT_WEIGH, {}, None),
        (Outcome.COUNTED_ONLY, {"fish_count": 7}, None),
        (Outcome.OVER_NET_LIMIT, {"weight": "100 lb"}, 45359),
        (Outcome.ESTIMATED, {"weight": "7lb"}, 3175),
        (Outcome.DID_NOT_FISH, {"hours": None, "peg": ""}, None),
    ],
)
def test_every_outcome_has_the_weight_that_it_can_have(
    outcome: Outcome, changes: dict[str, Any], stored: int | None, heron_small: SmallClub
) -> None:
    bare = HandIn(water=WHOLE.water, fished_on=WHOLE.fished_on, outcome=outcome, peg="1", hours=Decimal(5))
    assert give(heron_small, replace(bare, **changes)).weight_g == stored


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"water": "Heron-Small Pond"}, {"water": "unknown"}),
        ({"peg": "13"}, {"peg": "unknown"}),
        ({"peg": ""}, {"peg": "required"}),
        ({"hours": None}, {"hours": "required"}),
        ({"hours": Decimal("48.01")}, {"hours": "out_of_range"}),
        ({"hours": Decimal(0)}, {"hours": "out_of_range"}),
        ({"weight": ""}, {"weight": "required"}),
        ({"weight": "12.7"}, {"weight": "ambiguous_weight"}),
        ({"weight": "12-16-0"}, {"weight": "ounces_out_of_range"}),
        ({"weight": "501 kg"}, {"weight": "weight_out_of_range"}),
        ({"weight": "0-0-0"}, {"weight": "zero_weight"}),
        ({"outcome": Outcome.DID_NOT_WEIGH}, {"weight": "not_with_outcome"}),
        (
            {"outcome": Outcome.BLANK, "weight": "", "parts": (), "catch": ()},
            {"fish_count": "not_with_outcome"},
        ),
        ({"fished_on": date(2024, 6, 16)}, {"fished_on": "date_in_future"}),
        ({"fished_on": date(1066, 10, 14)}, {"fished_on": "date_too_early"}),
        ({"rods": 5}, {"rods": "out_of_range"}),
        ({"match": "M-1"}, {"match": "pleasure_has_no_match"}),
        ({"parts": (PartInput(hook_bait="cstr"),)}, {"parts.0.hook_bait": "unknown_word"}),
        ({"parts": (PartInput(distance_m=Decimal(151)),)}, {"parts.0.distance_m": "out_of_range"}),
        ({"parts": (PartInput(hours=Decimal(6)),)}, {"parts.0.hours": "out_of_range"}),
        ({"parts": (PartInput(weight="13-0-0"),)}, {"parts": "more_than_total"}),
        ({"catch": (CatchInput("roach"), CatchInput("roach"))}, {"catch": "species_twice"}),
        (
            {"catch": (CatchInput("roach", weight="1-0-0", biggest="2-0-0"),)},
            {"catch.0.biggest": "bigger_than_all"},
        ),
        ({"conditions": ConditionsInput(wind_force=13)}, {"conditions.wind_force": "out_of_range"}),
        ({"conditions": ConditionsInput(tow="sideways")}, {"conditions.tow": "unknown"}),
        ({"member": "M2"}, {"member": "not_your_own"}),
        ({"member": "M404"}, {"member": "not_your_own"}),
    ],
)
def test_what_cannot_be_true_is_refused_by_field_and_saves_nothing(
    changes: dict[str, Any], expected: dict[str, str], heron_small: SmallClub
) -> None:
    assert faults(heron_small, replace(WHOLE, **changes)) == expected


BARE: dict[str, Any] = {"weight": "", "fish_count": None, "parts": (), "catch": ()}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"catch": (CatchInput("roach", weight="1 g"),)}, "catch.0.weight"),
        ({"catch": (CatchInput("roach", biggest="1 g"),)}, "catch.0.biggest"),
        ({"catch": (CatchInput("bream"), CatchInput("roach", fish_count=1))}, "catch.1.fish_count"),
        ({"parts": (PartInput(hook_bait="reds", weight="1 g"),)}, "parts.0.weight"),
    ],
)
def test_a_blank_has_landed_nothing(changes: dict[str, Any], field: str, heron_small: SmallClub) -> None:
    blank = replace(WHOLE, **{**BARE, "outcome": Outcome.BLANK, **changes})
    assert faults(heron_small, blank) == {field: "not_with_outcome"}


def test_a_blank_may_have_lost_fish(heron_small: SmallClub) -> None:
    lost = (CatchInput("roach", fish_count=0, lost_count=2),)
    kept = give(heron_small, replace(WHOLE, **{**BARE, "outcome": Outcome.BLANK, "catch": lost}))
    assert (kept.weight_g, kept.catch_lines.get().lost_count) == (0, 2)


@pytest.mark.parametrize(
    "line",
    [
        CatchInput("roach", weight="5 kg"),
        CatchInput("roach", fish_count=1),
        CatchInput("roach", lost_count=1),
    ],
)
def test_who_did_not_fish_has_no_catch(line: CatchInput, heron_small: SmallClub) -> None:
    stayed_home = {**BARE, "outcome": Outcome.DID_NOT_FISH, "hours": None, "peg": "", "catch": (line,)}
    assert faults(heron_small, replace(WHOLE, **stayed_home)) == {"catch": "not_with_outcome"}


@pytest.mark.parametrize("tow", Tow.values)
def test_every_tow_that_a_record_can_hold_can_be_handed_in(tow: str, heron_small: SmallClub) -> None:
    assert give(heron_small, replace(WHOLE, conditions=ConditionsInput(tow=tow))).conditions.tow == tow


def test_all_faults_are_told_at_once(heron_small: SmallClub) -> None:
    wrong = replace(WHOLE, peg="13", hours=None, weight="x", parts=(PartInput(hook_bait="cstr", feed="y"),))
    assert set(faults(heron_small, wrong)) == {"peg", "hours", "weight", "parts.0.hook_bait", "parts.0.feed"}


def test_an_unknown_word_names_the_nearest_known_one(heron_small: SmallClub) -> None:
    with pytest.raises(InvalidInput, match="nearest is 'red maggot'"):
        give(heron_small, replace(WHOLE, parts=(PartInput(hook_bait="red magot"),)))


def test_the_day_is_the_waters_own(heron_small: SmallClub) -> None:
    """In British Summer Time the 15th begins an hour before it does in UTC."""
    late = datetime(2024, 6, 14, 23, 30, tzinfo=UTC)
    assert give(heron_small, replace(WHOLE, fished_on=date(2024, 6, 15)), now=late).pk
    heron_small.mere.time_zone = "America/New_York"
    heron_small.mere.save()
    heron_small.club.raise_places_revision()
    heron_small.club.refresh_from_db()
    with pytest.raises(InvalidInput, match="has not come yet"):
        give(heron_small, replace(WHOLE, fished_on=date(2024, 6, 15)), now=late)


def test_words_uids_and_labels_in_any_case_mean_the_same(heron_small: SmallClub) -> None:
    by_uid = replace(
        WHOLE,
        water=str(heron_small.mere.uid),
        peg=str(heron_small.pegs["12A"].uid),
        parts=(PartInput(hook_bait=str(heron_small.caster.uid)),),
    )
    by_word = replace(WHOLE, water="heron-small mere", peg="12a", parts=(PartInput(hook_bait="CASTERS"),))
    kept = [give(heron_small, data) for data in (by_uid, by_word)]
    assert kept[0].peg == kept[1].peg
    assert [part.hook_bait for one in kept for part in one.parts.all()] == [heron_small.caster] * 2


def test_another_clubs_things_are_unknown_even_by_uid(heron_small: SmallClub, other_club: SmallClub) -> None:
    assert faults(heron_small, replace(WHOLE, water=str(other_club.mere.uid))) == {"water": "unknown"}
    assert faults(heron_small, replace(WHOLE, peg=str(other_club.pegs["1"].uid))) == {"peg": "unknown"}
    foreign = replace(WHOLE, parts=(PartInput(hook_bait=str(other_club.caster.uid)),))
    assert faults(heron_small, foreign) == {"parts.0.hook_bait": "unknown_word"}
    with pytest.raises(NotFound):
        membership(actor=other_club.account("secretary"), slug=heron_small.club.slug)


def test_an_unknown_water_is_answered_with_the_nearest_known_one(heron_small: SmallClub) -> None:
    for written, said in (
        ("Heron Small Meer", "the nearest is 'Heron-Small Mere'"),
        ("Lake Nowhere", "known are Heron-Small Brook, Heron-Small Mere"),
    ):
        with pytest.raises(InvalidInput) as refused:
            give(heron_small, replace(WHOLE, water=written))
        assert isinstance(refused.value, ManyInvalid)
        assert said in refused.value.problems[0].message


def test_the_other_waters_pegs_are_unknown_here(heron_small: SmallClub) -> None:
    peg = str(heron_small.brook_pegs["1"].uid)
    assert faults(heron_small, replace(WHOLE, peg=peg)) == {"peg": "unknown"}


@pytest.mark.parametrize("role", ["organiser", "secretary"])
def test_organiser_and_secretary_hand_in_for_others(role: str, heron_small: SmallClub) -> None:
    kept = give(heron_small, replace(WHOLE, member="M2"), by=role)
    assert kept.member == heron_small.other_member
    assert kept.entered_by == heron_small.account(role)


def test_a_match_return_is_of_the_matchs_day_and_water(heron_small: SmallClub) -> None:
    make_match(heron_small.mere, "M-1", held_on=WHOLE.fished_on)
    of_match = replace(WHOLE, session_kind=SessionKind.MATCH, match="m-1")
    assert give(heron_small, of_match).match.code == "M-1"
    Return.objects.all().delete()
    wrong_day = replace(of_match, fished_on=date(2024, 6, 13))
    assert faults(heron_small, wrong_day) == {"match": "match_elsewhere_or_other_day"}


class TestReplays:
    """A phone that lost the signal sends the same return again."""

    UID = uuid.UUID("5f0c2c86-4a39-4e3b-9a55-0d0b6a2c9a11")

    def test_the_same_return_is_kept_once(self, heron_small: SmallClub) -> None:
        first = give(heron_small, replace(WHOLE, uid=self.UID))
        again = give(heron_small, replace(WHOLE, uid=self.UID), now=NOW.replace(hour=18))
        assert (again.pk, again.entered_at) == (first.pk, NOW)
        assert (Return.objects.count(), SessionPart.objects.count(), CatchLine.objects.count()) == (1, 2, 2)
        assert Club.objects.get(pk=heron_small.club.pk).revision == 1

    @pytest.mark.parametrize(
        "changes",
        [
            {"weight": "12-7-9"},
            {"notes": ""},
            {"parts": WHOLE.parts[:1]},
            {"parts": WHOLE.parts[::-1]},
            {"catch": ()},
            {"conditions": None},
            {"conditions": ConditionsInput(wind_force=4)},
        ],
    )
    def test_another_return_under_the_same_uid_is_a_conflict(
        self, changes: dict[str, Any], heron_small: SmallClub
    ) -> None:
        give(heron_small, replace(WHOLE, uid=self.UID))
        with pytest.raises(Conflict):
            give(heron_small, replace(WHOLE, uid=self.UID, **changes))
        assert Return.objects.get().notes == WHOLE.notes

    def test_the_same_words_under_another_member_are_a_conflict(self, heron_small: SmallClub) -> None:
        give(heron_small, replace(WHOLE, uid=self.UID))
        with pytest.raises(Conflict):
            give(heron_small, replace(WHOLE, uid=self.UID), by="other_member")

    def test_a_uid_of_another_club_tells_nothing_of_the_return(
        self, heron_small: SmallClub, other_club: SmallClub
    ) -> None:
        make_return(other_club.member, other_club.pegs["1"], uid=self.UID)
        with pytest.raises(Conflict) as refused:
            give(heron_small, replace(WHOLE, uid=self.UID))
        assert "Grebe" not in refused.value.message

    def test_the_slower_of_two_at_once_gets_the_fasters_return(
        self, heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        # The other request commits between our look and our write, which runs into the unique key.
        first = give(heron_small, replace(WHOLE, uid=self.UID))
        looks = iter([False, True])
        monkeypatch.setattr(returns, "_is_kept", lambda _uid: next(looks))
        assert give(heron_small, replace(WHOLE, uid=self.UID)) == first


def test_a_word_that_came_in_between_two_readings_of_the_words_is_no_stumbling_block(
    heron_small: SmallClub,
) -> None:
    known_entries(club=heron_small.club, kind="hook bait")
    hemp = make_word(HookBait, heron_small.club, "hempseed")
    kept = give(heron_small, replace(WHOLE, parts=(PartInput(hook_bait="hempseed"),)))
    assert [part.hook_bait for part in kept.parts.all()] == [hemp]


def test_nothing_is_half_saved(heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch) -> None:
    def break_down(*_args: Any, **_kwargs: Any) -> None:
        raise RuntimeError("what follows the writes fails")

    monkeypatch.setattr(returns, "look_at_new", break_down)
    with pytest.raises(RuntimeError), transaction.atomic():
        give(heron_small)
    assert not Return.objects.exists() and not SessionPart.objects.exists()


def test_a_peg_under_a_power_line_is_recorded_with_its_caution(heron_small: SmallClub) -> None:
    """It happened; the record stands, and the danger is said."""
    cautions = cautions_of(give(heron_small, replace(WHOLE, peg="5")))
    assert [caution.code for caution in cautions] == ["overhead_power_line"]
    assert cautions_of(give(heron_small)) == []
    before_it_was_noted = replace(WHOLE, peg="5", fished_on=date(2019, 6, 1))
    assert cautions_of(give(heron_small, before_it_was_noted)) == []


class TestWhoReadsWhat:
    @pytest.fixture
    def sessions(self, heron_small: SmallClub, other_club: SmallClub) -> dict[str, Return]:
        pegs = heron_small.pegs
        return {
            "own match": make_return(heron_small.member, pegs["1"], session_kind="match"),
            "own pleasure": make_return(heron_small.member, pegs["1"]),
            "other match": make_return(heron_small.other_member, pegs["2"], session_kind="match"),
            "other pleasure": make_return(heron_small.other_member, pegs["2"]),
            "other club": make_return(other_club.member, other_club.pegs["1"], session_kind="match"),
        }

    @pytest.mark.parametrize(
        ("role", "listed", "in_full"),
        [
            ("member", {"own match", "own pleasure", "other match"}, {"own match", "own pleasure"}),
            ("organiser", {"own match", "other match"}, {"own match", "other match"}),
            ("analyst", {"own match", "own pleasure", "other match", "other pleasure"}, None),
            ("secretary", {"own match", "own pleasure", "other match", "other pleasure"}, None),
        ],
    )
    def test_by_role(
        self,
        role: str,
        listed: set[str],
        in_full: set[str] | None,
        heron_small: SmallClub,
        sessions: dict[str, Return],
    ) -> None:
        who = membership(actor=heron_small.account(role), slug=heron_small.club.slug)
        visible = set(visible_returns(who))
        assert {name for name, session in sessions.items() if session in visible} == listed
        read = {name for name in listed if sees_in_full(who, sessions[name])}
        assert read == (listed if in_full is None else in_full)

    def test_two_roles_see_what_either_sees(
        self, heron_small: SmallClub, sessions: dict[str, Return]
    ) -> None:
        both = make_member(heron_small.club, "M9", Role.ORGANISER, Role.ANALYST, login=True)
        assert both.account is not None
        who = membership(actor=both.account, slug=heron_small.club.slug)
        assert visible_returns(who).count() == 4
