"""A club's workbook comes in as its CSV would, but for dates where a weight was typed: those are refused."""

import io
import zipfile
from contextlib import suppress
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from clubdata.intake.columns import SheetRefused
from clubdata.intake.run import import_file
from clubdata.intake.sheet import open_sheet
from clubdata.models import Return
from tests.unit.clubdata.intake.sheets import GOOD, HEADERS, NOON, codes, small_club

pytestmark = pytest.mark.django_db


def workbook(path: Path, *rows: dict[str, Any], heads: dict[str, str] = HEADERS) -> Path:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.append(list(heads.values()))
    for row in rows:
        sheet.append([{**GOOD, **row}[column] for column in heads])
    book.save(path)
    return path


def take(path: Path) -> dict[str, Any]:
    club = small_club()
    return import_file(
        club=club, path=path, dry_run=False, actor=None, clock=lambda: NOON, progress=lambda *_: None
    )


def test_typed_cells_land_as_their_text_would(tmp_path: Path) -> None:
    typed = {"date": date(2024, 5, 1), "peg": 1, "hours": 5.5, "distance": 11.5, "water_temperature": 12.5}
    report = take(
        workbook(
            tmp_path / "book.xlsx",
            typed,
            {"date": datetime.combine(date(2024, 5, 2), time()), "peg": 2.0, "wind": 3},
        )
    )
    assert (report["landed"], report["problems"]) == (2, [])
    first = Return.objects.earliest("fished_on")
    assert (first.fished_on, first.peg.label, first.hours, first.weight_typed) == (
        date(2024, 5, 1), "1", 5.5, "12-7-8",
    )  # fmt: skip
    assert first.parts.get().distance_m == 11.5


@pytest.mark.parametrize(
    "turned",
    [
        date(2008, 7, 12),
        datetime.combine(date(2024, 2, 3), time()),
        "12/07/2008",
        "03-Feb",
        "Feb-03",
        "2008-07-12",
        "12-Jul-08",
    ],
)
def test_a_weight_that_a_spreadsheet_made_a_date_is_refused_with_its_own_code(
    tmp_path: Path, turned: Any
) -> None:
    report = take(workbook(tmp_path / "book.xlsx", {"weight": turned}))
    assert (report["landed"], report["refused"]) == (0, 1)
    assert codes(report) == [(2, "Weight", "weight_became_date")]


@pytest.mark.parametrize("typed", ["12-7-8", "3-2", "12-8", "11-12", "1-2-3"])
def test_a_weight_that_was_kept_as_text_is_a_weight(tmp_path: Path, typed: str) -> None:
    assert take(workbook(tmp_path / "book.xlsx", {"weight": typed}))["landed"] == 1


def test_a_formula_is_not_run_and_a_time_is_no_weight(tmp_path: Path) -> None:
    report = take(workbook(tmp_path / "book.xlsx", {"weight": "=1+1"}, {"weight": time(12, 7)}))
    assert (report["landed"], report["refused"]) == (0, 2)


def _bomb() -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as parts:
        for number in range(5):
            parts.writestr(f"xl/worksheets/sheet{number}.xml", b" " * (100 * 1024 * 1024))
    return made.getvalue()


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"PK\x03\x04 and then nothing of a workbook", "not_a_workbook"),
        (b"\xd0\xcf\x11\xe0" + b"x" * 600, "workbook_locked"),
        ("bomb", "workbook_too_large"),
    ],
)
def test_what_cannot_be_read_is_refused_whole(tmp_path: Path, content: Any, code: str) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(_bomb() if content == "bomb" else content)
    with pytest.raises(SheetRefused) as refused:
        open_sheet(path)
    assert refused.value.code == code


def test_an_empty_workbook_is_refused(tmp_path: Path) -> None:
    Workbook().save(tmp_path / "book.xlsx")
    with pytest.raises(SheetRefused) as refused:
        open_sheet(tmp_path / "book.xlsx")
    assert refused.value.code == "empty_sheet"


CELLS = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**9), 10**9), st.floats(allow_nan=False, allow_infinity=False),
    st.dates(date(1901, 1, 1), date(2090, 1, 1)), st.times(),
    st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"), max_size=30),
)  # fmt: skip


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(row=st.fixed_dictionaries(dict.fromkeys(GOOD, CELLS)))
def test_any_cells_land_or_are_refused_by_name(tmp_path: Path, row: dict[str, Any]) -> None:
    report = import_file(
        club=small_club(),
        path=workbook(tmp_path / "any.xlsx", row),
        dry_run=True,
        actor=None,
        clock=lambda: datetime(2024, 6, 1, 12, tzinfo=UTC),
        progress=lambda *_: None,
    )
    assert report["rows_read"] == report["landed"] + report["refused"] + report["duplicates"]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    cuts=st.lists(st.tuples(st.integers(0, 10**6), st.binary(min_size=1, max_size=8)), min_size=1, max_size=6)
)
def test_a_damaged_workbook_is_refused_or_read_and_never_more(
    tmp_path: Path, cuts: list[tuple[int, bytes]]
) -> None:
    whole = bytearray(workbook(tmp_path / "good.xlsx", {}).read_bytes())
    for place, noise in cuts:
        at = 4 + place % (len(whole) - 12)
        whole[at : at + len(noise)] = noise
    path = tmp_path / "damaged.xlsx"
    path.write_bytes(whole)
    with suppress(SheetRefused):
        list(open_sheet(path).rows())
