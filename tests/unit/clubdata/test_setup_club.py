"""Setting up a club: made once, brought up to date, never doubled, never half-saved."""

import copy
import json
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from clubdata.demo.files import CLUB_FILE
from clubdata.errors import InvalidInput, NotAllowed
from clubdata.models import (
    Account,
    Club,
    HookBait,
    HookBaitSpelling,
    Member,
    MemberRole,
    Method,
    Peg,
    PegDepth,
    PegHazard,
    RigType,
    Species,
    Water,
    WaterEvent,
)
from clubdata.services.clubs import setup_club
from tests.unit.clubdata.intake.sheets import DESCRIPTION, NOON, described

pytestmark = pytest.mark.django_db

RECORDS = (
    Club,
    Water,
    WaterEvent,
    Peg,
    PegDepth,
    PegHazard,
    HookBait,
    HookBaitSpelling,
    RigType,
    Method,
    Species,
    Member,
)


def set_up(description: Any) -> Club:
    return setup_club(description=description, actor=None, now=NOON).club


def pegs(club: Club) -> list[tuple[str, int]]:
    found = Peg.objects.filter(club=club, water__name="Alder Pond").order_by("bank_order")
    return list(found.values_list("label", "bank_order"))


def with_pegs(*pegs: dict[str, Any]) -> dict[str, Any]:
    changed = copy.deepcopy(DESCRIPTION)
    changed["waters"][0]["pegs"] = list(pegs)
    return changed


def test_a_club_has_what_its_description_names() -> None:
    club = set_up(DESCRIPTION)
    assert (club.slug, club.time_zone) == ("alder", "Europe/London")
    assert pegs(club) == [("1", 1), ("2", 2), ("12A", 3)]
    hazard = PegHazard.objects.get(club=club)
    assert (hazard.peg.label, hazard.kind, str(hazard.noted_on)) == ("2", "overhead power line", "2023-11-04")
    assert set(
        HookBaitSpelling.objects.filter(entry__name="maggot, live").values_list("folded", flat=True)
    ) == {
        "maggot, live",
        "maggot",
        "maggots",
    }
    assert list(MemberRole.objects.order_by("member__number").values_list("role", flat=True)) == [
        "secretary",
        "member",
    ]


def test_the_invented_club_is_set_up_twice_and_doubles_nothing() -> None:
    description = json.loads(CLUB_FILE.read_text())
    later = NOON.replace(year=2025)
    setup_club(description=description, actor=None, now=later)
    counts = [model.objects.count() for model in RECORDS]
    report = setup_club(description=description, actor=None, now=later)
    assert [model.objects.count() for model in RECORDS] == counts
    assert sum(report.created.values()) == 0
    assert Peg.objects.count() == 96 and Member.objects.count() == 120


def test_a_club_without_words_of_its_own_begins_with_the_usual_methods_and_species() -> None:
    club = set_up({"slug": "new", "name": "New"})
    assert {"pole", "whip", "waggler", "feeder"} <= set(
        Method.objects.filter(club=club).values_list("name", flat=True)
    )
    # FAO ASFIS: roach is FRO, Rutilus rutilus.
    roach = Species.objects.get(club=club, name="roach")
    assert (roach.fao_code, roach.scientific_name) == ("FRO", "Rutilus rutilus")


def test_a_club_keeps_the_conventions_and_time_zone_that_a_description_leaves_out() -> None:
    set_up(described(time_zone="Europe/Dublin"))
    club = set_up({"slug": "alder", "name": "Alder Anglers"})
    assert (club.name, club.time_zone, club.conventions) == (
        "Alder Anglers",
        "Europe/Dublin",
        DESCRIPTION["conventions"],
    )
    assert set_up({"slug": "alder", "name": "Alder Anglers", "conventions": {}}).conventions == {}


def test_a_club_that_has_words_gets_no_usual_ones_later() -> None:
    club = set_up(described(methods=[{"name": "centre pin"}]))
    set_up(DESCRIPTION)
    assert list(Method.objects.filter(club=club).values_list("name", flat=True)) == ["centre pin"]


def test_pegs_are_re_ordered_and_renamed_in_case_without_a_clash() -> None:
    set_up(DESCRIPTION)
    club = set_up(
        with_pegs({"number": "12a", "order": 1}, {"number": "2", "order": 3}, {"number": "1", "order": 2})
    )
    assert pegs(club) == [("12a", 1), ("1", 2), ("2", 3)]


def test_a_new_peg_takes_the_place_of_one_that_the_description_left_out() -> None:
    set_up(DESCRIPTION)
    club = set_up(with_pegs({"number": "1", "order": 1}, {"number": "1B", "order": 2}))
    assert [label for label, _ in pegs(club)] == ["1", "1B", "12A", "2"]


def test_each_description_raises_the_revision_of_the_clubs_places() -> None:
    before = set_up(DESCRIPTION)
    before.refresh_from_db()
    after = set_up(with_pegs({"number": "1", "order": 1}))
    after.refresh_from_db()
    assert (after.places_revision, after.revision) == (before.places_revision + 1, before.revision)


def test_a_hazard_stands_until_the_description_clears_it() -> None:
    set_up(DESCRIPTION)
    set_up(with_pegs({"number": "2", "order": 2, "hazards": []}))
    assert PegHazard.objects.get().cleared_on is None
    cleared = {"kind": "overhead power line", "noted": "2023-11-04", "cleared": "2024-05-01"}
    set_up(with_pegs({"number": "2", "order": 2, "hazards": [cleared]}))
    assert str(PegHazard.objects.get().cleared_on) == "2024-05-01"


def with_events(*events: dict[str, Any]) -> dict[str, Any]:
    changed = copy.deepcopy(DESCRIPTION)
    changed["waters"][0]["events"] = list(events)
    return changed


def test_what_happened_at_a_water_is_kept_once_and_may_end_later() -> None:
    begun = {"kind": "works", "started": "2023-02-01", "note": "bank mended"}
    set_up(with_events(begun))
    set_up(with_events({**begun, "ended": "2023-03-01"}))
    set_up(with_events(begun))
    set_up(DESCRIPTION)
    event = WaterEvent.objects.get()
    assert (event.water.name, event.kind, event.note) == ("Alder Pond", "works", "bank mended")
    assert (str(event.started_on), str(event.ended_on)) == ("2023-02-01", "2023-03-01")


@pytest.mark.parametrize(
    ("event", "place"),
    [
        ({"kind": "flood", "started": "2023-02-01"}, "kind"),
        ({"kind": "works", "started": "2024-06-02"}, "started"),
        ({"kind": "works", "started": "2023-02-01", "ended": "2023-01-31"}, "ended"),
        ({"kind": "works"}, "started"),
    ],
)
def test_an_event_that_cannot_be_is_refused_at_its_place(event: dict[str, Any], place: str) -> None:
    with pytest.raises(InvalidInput) as refusal:
        set_up(with_events(event))
    assert str(refusal.value.field).startswith("waters[0].events[0]")
    assert place in f"{refusal.value.field} {refusal.value.message}"
    assert not WaterEvent.objects.exists()


def test_a_spelling_moves_to_the_word_that_it_now_means() -> None:
    set_up(DESCRIPTION)
    set_up(described(hook_baits=[{"name": "pinkie", "aliases": ["maggots"]}]))
    assert HookBaitSpelling.objects.get(folded="maggots").entry.name == "pinkie"


def test_a_members_roles_become_those_of_the_description() -> None:
    set_up(DESCRIPTION)
    set_up(described(members=[{"number": "m1", "roles": ["analyst", "member"]}, {"number": "M2"}]))
    roles = MemberRole.objects.order_by("member__number", "role").values_list("member__number", "role")
    assert list(roles) == [("M2", "member"), ("m1", "analyst"), ("m1", "member")]


def test_only_the_operator_sets_up_clubs() -> None:
    secretary = Account.objects.create(username="s")
    with pytest.raises(NotAllowed):
        setup_club(description=DESCRIPTION, actor=secretary, now=NOON)
    operator = Account.objects.create(username="o", is_superuser=True)
    assert setup_club(description=DESCRIPTION, actor=operator, now=NOON).club.slug == "alder"


def at(*path: Any, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(description: dict[str, Any]) -> None:
        target: Any = description
        for step in path[:-1]:
            target = target[step]
        target[path[-1]] = value

    return change


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (at("waters", 0, "pegs", 1, "depth_cm", value="deep"), "waters[0].pegs[1].depth_cm"),
        (at("waters", 0, "pegs", 1, "depth_cm", value=-1), "waters[0].pegs[1].depth_cm"),
        (at("waters", 0, "pegs", 1, "depth_cm", value=True), "waters[0].pegs[1].depth_cm"),
        (at("waters", 0, "pegs", 1, "dept_cm", value=100), "waters[0].pegs[1].dept_cm"),
        (at("waters", 0, "pegs", 1, "number", value=2), "waters[0].pegs[1].number"),
        (at("waters", 0, "pegs", 2, "number", value="1"), "waters[0].pegs[2]"),
        (at("waters", 0, "pegs", 2, "order", value=1), "waters[0].pegs[2]"),
        (
            at("waters", 0, "pegs", 1, "hazards", 0, "noted", value="2024-02-30"),
            "waters[0].pegs[1].hazards[0].noted",
        ),
        (
            at("waters", 0, "pegs", 1, "hazards", 0, "noted", value="2024-06-02"),
            "waters[0].pegs[1].hazards[0].noted",
        ),
        (at("waters", 1, "kind", value="sea"), "waters[1].kind"),
        (at("waters", 1, "latitude", value=float("nan")), "waters[1].latitude"),
        (at("waters", 1, "name", value="alder  POND"), "waters[1]"),
        (at("waters", value={}), "waters"),
        (at("hook_baits", 1, "aliases", value=["Maggots"]), "hook_baits[1].aliases[0]"),
        (at("members", 1, "role", value="king"), "members[1].role"),
        (at("members", 1, "number", value="m1"), "members[1]"),
        (at("members", 1, "number", value="M\x00"), "members[1].number"),
        (at("time_zone", value="Mars/Olympus"), "time_zone"),
        (at("time_zone", value="../etc/passwd"), "time_zone"),
        (at("slug", value="two words"), "slug"),
        (at("name", value=None), "name"),
        (at("conventions", "date_order", value="backwards"), "conventions.date_order"),
        (at("conventions", "wind_words", "calm", value=13), "conventions.wind_words.calm"),
        (at("conventions", "headers", "peg", value="date"), "conventions.headers.peg"),
        (
            at("conventions", "weight_words", "estimated", 0, value="DNW"),
            "conventions.weight_words.estimated[0]",
        ),
    ],
)
def test_a_bad_description_is_refused_by_its_place_and_saves_nothing(
    change: Callable[[dict[str, Any]], None], place: str
) -> None:
    description = copy.deepcopy(DESCRIPTION)
    change(description)
    with pytest.raises(InvalidInput) as refusal:
        set_up(description)
    assert (refusal.value.field, refusal.value.code) == (place, "bad_description")
    assert refusal.value.message.startswith(f"{place}: ")
    assert not Club.objects.exists()


@pytest.mark.parametrize("description", [None, [], "club", 3, {"slug": "x"}])
def test_what_is_no_description_is_refused(description: Any) -> None:
    with pytest.raises(InvalidInput):
        set_up(description)


def test_the_command_makes_a_club_and_says_what_it_made(tmp_path: Path) -> None:
    path, out = tmp_path / "club.json", StringIO()
    path.write_text(json.dumps(DESCRIPTION))
    call_command("setup_club", str(path), stdout=out)
    assert "pegs: 4 new, 0 known before" in out.getvalue()


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (None, "no file"),
        (b"{", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b'{"slug": "x"}', "name: is missing"),
    ],
)
def test_the_command_refuses_in_one_sentence(tmp_path: Path, content: bytes | None, sentence: str) -> None:
    path = tmp_path / "club.json"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(CommandError, match=sentence):
        call_command("setup_club", str(path))
