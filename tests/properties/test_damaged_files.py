"""Whatever file is brought, an import lands what it tells, or refuses the file and leaves nothing.

`CLUBDATA_FUZZ_EXAMPLES=1000 uv run pytest tests/properties/test_damaged_files.py` damages more of them.
"""

import io
import os
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from clubdata.intake.columns import SheetRefused
from clubdata.models import (
    CatchLine,
    Club,
    Conditions,
    Job,
    JobState,
    Match,
    Return,
    SessionPart,
    StagedReturn,
)
from tests.modules import kept_for_a_module
from tests.unit.clubdata.intake.sheets import HEADERS, Desk, as_text, row, small_club

ROWS = [
    row(),
    row(peg="2", session="match", match="A", weight="3lb"),
    row(peg="9"),
    row(weight="blank", wind=""),
]
WHOLE = as_text(*ROWS).encode()
# What people's programs leave in files, and what breaks readers.
NOISE = st.binary(min_size=1, max_size=8) | st.sampled_from(
    [b"", b'"', b'""', b",", b";", b"\r", b"\n", b"\0", b"\xef\xbb\xbf", b"\xff\xfe", b"\xed\xa0\x80",
     b"\x81", b"9" * 5000, b"1e999", b"-", b"\xd9\xa1", b"\xc2\xbd", b"=1+1", b"," * 300, b"NaN",
     b"x" * 140_000]
)  # fmt: skip
XML_NOISE = NOISE | st.sampled_from(
    [b"<", b">", b"</c>", b"<c/>", b'<row r="0"/>', b'r="XFD1048576"', b't="s"', b't="d"', b't="e"', b't="b"',
     b"<v>99999999999</v>", b"<v>-1</v>", b"<v>1e400</v>", b"<v>NaN</v>", b"&#55296;", b"&no;", b"../x.xml",
     b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b'count="-5"', b"<f>1/0</f>"]
)  # fmt: skip


def cuts(noise: st.SearchStrategy[bytes]) -> st.SearchStrategy[list[tuple[int, int, bytes]]]:
    """Where, in a file of any length, how many bytes go, and what comes in their stead."""
    return st.lists(st.tuples(st.integers(0, 10**5), st.integers(0, 12), noise), min_size=1, max_size=5)


def cut(whole: bytes, places: list[tuple[int, int, bytes]]) -> bytes:
    made = bytearray(whole)
    for place, gone, noise in places:
        at = place % (len(made) + 1)
        made[at : at + gone] = noise
    return bytes(made)


def parts_of_a_workbook() -> dict[str, bytes]:
    book = Workbook()
    book.worksheets[0].append(list(HEADERS.values()))
    for one in ROWS:
        book.worksheets[0].append([one[column] for column in HEADERS])
    made = io.BytesIO()
    book.save(made)
    with zipfile.ZipFile(made) as parts:
        return {name: parts.read(name) for name in parts.namelist()}


PARTS = parts_of_a_workbook()


def zipped(parts: dict[str, bytes]) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as target:
        for name, content in parts.items():
            target.writestr(name, content)
    return made.getvalue()


@pytest.fixture(scope="module")
def club_of_module(django_db_setup: None, django_db_blocker: Any) -> Iterator[Club]:
    with kept_for_a_module(django_db_blocker):
        yield small_club()


@pytest.fixture
def bring(club_of_module: Club, db: None, settings: Any, tmp_path: Path) -> Callable[[bytes], None]:
    settings.UPLOAD_DIR = tmp_path / "uploads"

    def bring(content: bytes) -> None:
        with transaction.atomic():
            check_import(club_of_module, tmp_path, content)
            transaction.set_rollback(True)

    return bring


def check_import(club: Club, directory: Path, content: bytes) -> None:
    """Rehearsed or in earnest it is one answer; what is told is there; no file and no staging stays."""
    desk = Desk(club, directory)
    rehearsed, landed = outcome(desk, content, dry_run=True), outcome(desk, content, dry_run=False)
    assert rehearsed == landed
    assert not StagedReturn.objects.exists()
    assert not list((directory / "uploads").glob("*"))
    job = Job.objects.get()
    if isinstance(landed, SheetRefusal):
        assert landed.code and landed.message
        assert (job.state, job.reason_code, job.reason) == (JobState.REFUSED, landed.code, landed.message)
    else:
        assert job.state == JobState.FINISHED
        assert landed["rows_read"] == landed["landed"] + landed["refused"] + landed["duplicates"]
    count = 0 if isinstance(landed, SheetRefusal) else landed["landed"]
    assert (Return.objects.count(), SessionPart.objects.count()) == (count, count)
    if not count:
        assert not any(kind.objects.exists() for kind in (Match, Conditions, CatchLine))


class SheetRefusal(tuple[str, str]):
    """What a whole file is refused with."""

    code = property(lambda self: self[0])
    message = property(lambda self: self[1])


def outcome(desk: Desk, content: bytes, *, dry_run: bool) -> Any:
    try:
        report = desk.take_bytes(content, dry_run=dry_run)
    except SheetRefused as refused:
        return SheetRefusal((refused.code, refused.message))
    return {**report, "dry_run": None}


a_file = settings(
    max_examples=int(os.environ.get("CLUBDATA_FUZZ_EXAMPLES", "25")),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@given(
    content=st.binary(max_size=400) | st.text(max_size=200).map(lambda text: text.encode(errors="replace"))
)
@example(content=WHOLE)
@example(content=b"\xef\xbb\xbf")
@example(content=b"PK\x03\x04" + WHOLE)
@a_file
def test_any_bytes(bring: Callable[[bytes], None], content: bytes) -> None:
    bring(content)


@given(places=cuts(NOISE))
@a_file
def test_a_text_file_that_was_damaged(
    bring: Callable[[bytes], None], places: list[tuple[int, int, bytes]]
) -> None:
    bring(cut(WHOLE, places))


@given(places=cuts(NOISE))
@a_file
def test_a_text_file_whose_header_stands_and_whose_rows_were_damaged(
    bring: Callable[[bytes], None], places: list[tuple[int, int, bytes]]
) -> None:
    header, _, rows = WHOLE.partition(b"\n")
    bring(header + b"\n" + cut(rows, places))


@given(name=st.sampled_from(sorted(PARTS)), places=cuts(XML_NOISE))
@a_file
def test_a_workbook_whose_inner_files_were_damaged(
    bring: Callable[[bytes], None], name: str, places: list[tuple[int, int, bytes]]
) -> None:
    bring(zipped({**PARTS, name: cut(PARTS[name], places)}))


@given(places=cuts(XML_NOISE))
@a_file
def test_a_workbook_whose_cells_were_damaged(
    bring: Callable[[bytes], None], places: list[tuple[int, int, bytes]]
) -> None:
    name = next(one for one in PARTS if one.endswith("sheet1.xml"))
    bring(zipped({**PARTS, name: cut(PARTS[name], places)}))


@given(gone=st.sets(st.sampled_from(sorted(PARTS)), min_size=1, max_size=4))
@a_file
def test_a_workbook_that_lacks_inner_files(bring: Callable[[bytes], None], gone: set[str]) -> None:
    bring(zipped({name: content for name, content in PARTS.items() if name not in gone}))


@given(places=cuts(NOISE))
@a_file
def test_a_workbook_whose_packing_was_damaged(
    bring: Callable[[bytes], None], places: list[tuple[int, int, bytes]]
) -> None:
    bring(cut(zipped(PARTS), places))
