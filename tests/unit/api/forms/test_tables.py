"""Tables read back by other readers, and text that never becomes a formula."""

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import numpy as np
import openpyxl
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.forms.parquet import to_parquet
from api.forms.plain import plain
from api.forms.sheets import About, Column, Kind, Sheet, sheet_of
from api.forms.tables import to_csv, to_workbook

NOW = datetime(2024, 6, 1, 12, 30, tzinfo=UTC)
ABOUT = About("example", (("reference", "@SUM(A1)"),))
COLUMNS = (
    Column("peg", "Peg", description="As painted."),
    Column("change_g", "Change", "g"),
    Column("returns", "Returns"),
    Column("good", "Good"),
    Column("on", "On"),
    Column("at", "At"),
    Column("empty", "Empty", "g"),
)
ROWS: tuple[tuple[Any, ...], ...] = (
    ("=HYPERLINK(1)", -12.5, 3, True, date(2024, 5, 1), NOW, None),
    ("-3", 0.1 + 0.2, 0, False, date(2024, 5, 2), NOW, None),
    (None, None, None, None, None, None, None),
)
SHEET = Sheet("pegs/all*", COLUMNS, ROWS)
FORMULA_STARTS = tuple("=+-@\t\r\n")


def read_csv(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode(), newline="")))


def test_numbers_stay_numbers_and_text_that_could_be_a_formula_is_text() -> None:
    heads, first, second, third = read_csv(to_csv(SHEET))
    assert heads == [column.name for column in COLUMNS]
    assert first == ["'=HYPERLINK(1)", "-12.5", "3", "true", "2024-05-01", "2024-06-01T12:30:00+00:00", ""]
    assert second[0] == "'-3" and float(second[1]) == 0.1 + 0.2
    assert third == [""] * 7


@settings(deadline=None)
@given(st.text(max_size=30))
def test_no_text_of_a_csv_begins_as_a_formula_does(text: str) -> None:
    sheet = Sheet("t", (Column("word", "Word", kind=Kind.TEXT), Column("end", "End")), ((text, "x"),))
    _, (word, end) = read_csv(to_csv(sheet))
    assert not word.startswith(FORMULA_STARTS)
    assert word.removeprefix("'") == plain(text).removeprefix("'") and end == "x"


@settings(deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(-(2**62), 2**62))
def test_numbers_come_back_as_they_were(number: float, whole: int) -> None:
    sheet = Sheet("n", (Column("number", "N"), Column("whole", "W")), ((number, whole),))
    _, (written, counted) = read_csv(to_csv(sheet))
    assert (float(written), int(counted)) == (number, whole)
    assert pq.read_table(io.BytesIO(to_parquet(sheet))).to_pylist() == [{"number": number, "whole": whole}]


def test_numbers_of_other_libraries_are_numbers() -> None:
    sheet = Sheet(
        "n",
        (Column("a", "A"), Column("b", "B"), Column("c", "C")),
        ((np.float64(1.5), np.int64(2), Decimal("2.5")),),
    )
    assert sheet.kinds() == (Kind.NUMBER, Kind.WHOLE, Kind.NUMBER)
    assert read_csv(to_csv(sheet))[1] == ["1.5", "2", "2.5"]
    assert pq.read_table(io.BytesIO(to_parquet(sheet))).to_pylist() == [{"a": 1.5, "b": 2, "c": 2.5}]


def test_parquet_has_types_and_says_units() -> None:
    table = pq.read_table(io.BytesIO(to_parquet(SHEET)))
    assert [str(field.type) for field in table.schema] == [
        "string",
        "double",
        "int64",
        "bool",
        "date32[day]",
        "timestamp[us, tz=UTC]",
        "double",
    ]
    assert table.schema.field("change_g").metadata == {
        b"title": b"Change",
        b"unit": b"g",
        b"description": b"",
    }
    assert [tuple(row.values()) for row in table.to_pylist()] == list(ROWS)


def test_a_workbook_keeps_text_as_text_and_says_what_it_is_first() -> None:
    book = openpyxl.load_workbook(io.BytesIO(to_workbook([SHEET], ABOUT, made=NOW)))
    assert book.sheetnames == ["about", "pegs all "]
    assert (book["about"]["A1"].value, book["about"]["B2"].value) == ("example", "@SUM(A1)")
    page = book["pegs all "]
    assert [cell.data_type for cell in page["A"]] == ["s", "s", "s"]
    assert page["A2"].value == "=HYPERLINK(1)"
    assert [cell.value for cell in page[3]][:3] == ["-3", pytest.approx(0.3, rel=1e-14), 0]
    assert [cell.value for cell in page[2]][3:6] == [True, datetime(2024, 5, 1), datetime(2024, 6, 1, 12, 30)]  # noqa: DTZ001


@settings(deadline=None)
@given(st.text(max_size=40))
def test_no_text_of_a_workbook_is_a_formula_or_breaks_it(text: str) -> None:
    sheet = Sheet("t", (Column("word", "Word", kind=Kind.TEXT),), ((text,),))
    content = to_workbook([sheet], About(text or "t", ((text or "n", text),)), made=NOW)
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert not any(cell.data_type == "f" for page in book for row in page.iter_rows() for cell in row)
    assert (book["t"]["A2"].value or "") == plain(text)


def test_a_row_without_a_cell_and_a_number_that_is_none_are_refused() -> None:
    with pytest.raises(ValueError, match="one cell a column"):
        Sheet("s", COLUMNS, ((1, 2),))
    with pytest.raises(ValueError, match="not finite"):
        Sheet("s", (Column("a", "A"),), ((float("nan"),),))


def test_a_table_is_made_of_records_by_their_names() -> None:
    class Row:
        peg, returns = "7", 3

    columns = (Column("peg", "Peg"), Column("returns", "Returns"))
    assert sheet_of("s", columns, [Row()]).rows == sheet_of("s", columns, [{"peg": "7", "returns": 3}]).rows


TEXTS = st.none() | st.text(max_size=8).filter(lambda text: text.isprintable())
MOMENTS = st.none() | st.datetimes(min_value=datetime(1890, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            TEXTS,
            st.none() | st.integers(-(2**62), 2**62),
            st.none() | st.booleans(),
            st.none() | st.dates(),
            MOMENTS,
        ),
        max_size=20,
    )
)
def test_every_cell_of_a_parquet_file_comes_back_as_it_was(rows: list[tuple[Any, ...]]) -> None:
    kinds = (Kind.TEXT, Kind.WHOLE, Kind.FLAG, Kind.DAY, Kind.MOMENT)
    columns = tuple(Column(kind.value, kind.value, kind=kind) for kind in kinds)
    found = pq.read_table(io.BytesIO(to_parquet(Sheet("s", columns, tuple(rows)))))
    found.validate(full=True)
    assert [tuple(row.values()) for row in found.to_pylist()] == rows
