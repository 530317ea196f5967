"""The column of catches: what each species weighed, fault by fault and down to the stored lines."""

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdata.demo.files import RETURNS_FILE
from clubdata.intake.catches import read_catch
from clubdata.intake.cells import CellProblem
from clubdata.intake.vocabulary import Known
from clubdata.models import CatchLine, Return, StagedReturn
from clubdata.rules.conventions import DEFAULT_HEADERS, read_conventions
from tests.simulation import heron_catches
from tests.unit.clubdata.intake.sheets import HEADERS, Desk, as_text, codes, row, small_club

ROACH, BREAM, F1, CARP = 1, 2, 3, 4
SPECIES = Known.of(
    [
        ("roach", ROACH, "roach"),
        ("common bream", BREAM, "common bream"),
        ("bream", BREAM, "common bream"),
        ("F1", F1, "F1"),
        ("carp", CARP, "common carp"),
    ]
)
NAMES = {**HEADERS, "catch": "Catch"}


@pytest.mark.parametrize(
    ("typed", "lines"),
    [
        ("roach 3-2-0; bream 9-0-0", ((ROACH, 1417), (BREAM, 4082))),
        ("Common  Bream 2lb 4oz", ((BREAM, 1021),)),
        ("F1 850g;", ((F1, 850),)),
        ("roach 0.5 kg ;carp 12 lb", ((ROACH, 500), (CARP, 5443))),
    ],
)
def test_a_catch_is_read_species_by_species(typed: str, lines: tuple[tuple[int, int], ...]) -> None:
    assert read_catch(typed, SPECIES).lines == lines


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("roch 3-2-0", "species_unknown"),
        ("wild salmon 3-2-0", "species_unknown"),
        ("roach 1-0-0; bream 2-0-0; roach 3-0-0", "species_twice"),
        ("bream 1-0-0; common bream 2-0-0", "species_twice"),
        ("roach", "catch_not_understood"),
        ("3-2-0", "catch_not_understood"),
        ("roach 5", "catch_ambiguous_weight"),
        ("roach lots", "catch_weight_not_understood"),
        ("roach 0-0-0", "catch_weight_is_zero"),
        ("roach 1-0-0; " * 60, "catch_not_understood"),
    ],
)
def test_what_cannot_be_read_says_why(typed: str, code: str) -> None:
    with pytest.raises(CellProblem) as refusal:
        read_catch(typed, SPECIES)
    assert refusal.value.code == code


@given(st.text(max_size=60))
def test_whatever_is_typed_is_read_or_refused(typed: str) -> None:
    with suppress(CellProblem):
        found = read_catch(typed, SPECIES)
        assert all(weight_g > 0 for _, weight_g in found.lines)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(small_club(), tmp_path)


def take(desk: Desk, *rows: dict[str, str], dry_run: bool = False) -> dict[str, object]:
    return desk.take_bytes(as_text(*rows, columns=list(NAMES), names=NAMES).encode(), dry_run=dry_run)


@pytest.mark.django_db
def test_lines_land_with_their_return_and_leave_nothing_staged(desk: Desk) -> None:
    report = take(
        desk,
        row(catch="roach 3-2-0; bream 9-0-0", weight="12-2-0"),
        row(catch="", peg="2"),
        row(catch="carp 4lb", peg="12A", weight="dnw"),
    )
    assert (report["landed"], report["problems"]) == (3, [])
    found = CatchLine.objects.order_by("session_id", "pk")
    assert list(found.values_list("session__peg__label", "species__name", "weight_g", "lost_count")) == [
        ("1", "roach", 1417, 0),
        ("1", "common bream", 4082, 0),
        ("12A", "common carp", 1814, 0),
    ]
    assert {line.club_id for line in found} == {desk.club.pk}
    assert len({line.uid for line in found}) == 3 and not StagedReturn.objects.exists()
    assert all(line.uid.version == 4 for line in found)


@pytest.mark.django_db
def test_a_catch_at_fault_is_told_and_its_row_lands_without_it(desk: Desk) -> None:
    report = take(
        desk,
        row(catch="roach 3-2-0; salmon 1-0-0"),
        row(catch="roach 12-7-8; bream 1-0-0", peg="2"),
        row(catch="roach 1oz", peg="12A", weight="blank"),
        row(catch="roach 13-0-0", weight="abt 12lb", date="02/05/2024"),
    )
    assert report["landed"] == 4
    assert codes(report) == [
        (2, "Catch", "species_unknown"),
        (3, "Catch", "catch_more_than_total"),
        (4, "Catch", "catch_on_blank"),
    ]
    assert [line.session.fished_on.day for line in CatchLine.objects.all()] == [2], "an estimate may be out"


@pytest.mark.django_db
def test_a_catch_is_no_part_of_a_rows_identity(desk: Desk) -> None:
    assert take(desk, row(catch="roach 1-0-0"))["landed"] == 1
    again = take(desk, row(catch="bream 2-0-0"))
    assert (again["landed"], again["duplicates"]) == (0, 1)
    assert [line.species.name for line in CatchLine.objects.all()] == ["roach"], "nothing recorded changes"


@pytest.mark.django_db
def test_a_rehearsal_tells_the_same_faults_and_writes_nothing(desk: Desk) -> None:
    assert codes(take(desk, row(catch="salmon 1-0-0"), dry_run=True)) == [(2, "Catch", "species_unknown")]
    assert not CatchLine.objects.exists() and not Return.objects.exists()


def test_a_club_that_heads_its_weights_so_has_no_column_of_catches() -> None:
    assert read_conventions({}).headers == DEFAULT_HEADERS
    own = read_conventions({"headers": {"weight": "CATCH"}}).headers
    assert own["weight"] == "CATCH" and "catch" not in own
    both = read_conventions({"headers": {"weight": "Catch", "catch": "Species"}}).headers
    assert (both["weight"], both["catch"]) == ("Catch", "Species")


def test_the_demos_catches_come_out_the_same_again() -> None:
    assert heron_catches.sheet() == RETURNS_FILE.read_text(encoding="utf-8")
