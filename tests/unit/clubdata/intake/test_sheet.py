"""Files: encodings, delimiters, line numbers; and columns by their headers."""

from pathlib import Path

import pytest

from clubdata.intake.columns import SheetRefused, find_columns
from clubdata.intake.sheet import open_sheet
from tests.unit.clubdata.intake.sheets import HEADERS


def written(tmp_path: Path, content: bytes) -> Path:
    path = tmp_path / "sheet.csv"
    path.write_bytes(content)
    return path


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";"])
def test_a_sheet_reads_the_same_however_it_was_saved(tmp_path: Path, encoding: str, delimiter: str) -> None:
    text = f"Date{delimiter}Notes\r\n01/05/2024{delimiter}crème, 5 £\r\n".replace(
        "crème, 5 £", '"crème, 5 £"'
    )
    sheet = open_sheet(written(tmp_path, text.encode(encoding)))
    assert sheet.header == ("Date", "Notes")
    assert list(sheet.rows()) == [(2, ["01/05/2024", "crème, 5 £"])]


def test_lines_are_counted_as_a_spreadsheet_shows_them(tmp_path: Path) -> None:
    sheet = open_sheet(written(tmp_path, b'A,B\n1,"two\nlines"\n\n,\n2,x\n'))
    assert [line for line, _ in sheet.rows()] == [2, 5]


def test_a_character_cut_by_a_block_is_still_utf_8(tmp_path: Path) -> None:
    sheet = open_sheet(written(tmp_path, ("A,B\n1," + "x" * 65527 + "£££\n").encode()))
    assert sheet.encoding == "utf-8-sig"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty_sheet"),
        ("Date,Peg".encode("utf-16"), "not_text"),
        (b"PK\x03\x04\0\0\0", "not_a_workbook"),
        (b"Date\n\x81\x8d\n", "not_text"),
    ],
)
def test_what_is_not_text_is_refused(tmp_path: Path, content: bytes, code: str) -> None:
    with pytest.raises(SheetRefused) as refusal:
        open_sheet(written(tmp_path, content))
    assert refusal.value.code == code


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SheetRefused, match="no such file"):
        open_sheet(tmp_path / "nowhere.csv")


def test_a_quotation_mark_that_swallows_the_file_is_refused_with_its_line(tmp_path: Path) -> None:
    sheet = open_sheet(written(tmp_path, b'A,B\n1,2\n1,"' + b"x,\n" * 60_000))
    with pytest.raises(SheetRefused, match=r"After line 2.*quotation mark") as refusal:
        list(sheet.rows())
    assert refusal.value.code == "cell_too_long"


def test_a_cell_without_end_is_refused_for_its_length(tmp_path: Path) -> None:
    sheet = open_sheet(written(tmp_path, b"A,B\n1," + b"x" * 131_073))
    with pytest.raises(SheetRefused, match="After line 1 a cell is longer than 131,072 characters"):
        list(sheet.rows())


def test_columns_are_found_in_any_order_and_case_and_others_are_named() -> None:
    header = ["weight ", "PEG", "Date", "Weather", "Water", "Member", "", "Hours"]
    columns = find_columns(header, HEADERS)
    assert columns.positions == {"weight": 0, "peg": 1, "date": 2, "water": 4, "member": 5, "hours": 7}
    assert columns.headers["weight"] == "weight"
    assert columns.ignored == ("Weather",)


def test_missing_required_columns_are_named_as_the_club_calls_them() -> None:
    with pytest.raises(SheetRefused, match="Swim, Hours") as refusal:
        find_columns(["Date", "Water", "Member", "Weight"], {**HEADERS, "peg": "Swim"})
    assert refusal.value.code == "missing_columns"


def test_a_header_that_stands_twice_is_refused() -> None:
    with pytest.raises(SheetRefused) as refusal:
        find_columns([*HEADERS.values(), "weight"], HEADERS)
    assert refusal.value.code == "column_twice"
