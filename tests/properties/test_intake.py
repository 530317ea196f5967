"""Laws of the intake: a cell is read or is a problem, and every row of a sheet counts once."""

import tempfile
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from clubdata.intake import cells
from clubdata.intake.cells import CellProblem
from clubdata.intake.vocabulary import Known
from clubdata.models import Club, Outcome, Return
from clubdata.rules.conventions import DateOrder, DistanceUnit, read_conventions
from tests.unit.clubdata.intake.sheets import DESCRIPTION, GOOD, Desk, as_text, row, small_club

CONVENTIONS = read_conventions(DESCRIPTION["conventions"])
TODAY = date(2024, 6, 1)
KNOWN = Known({"maggot": 1, "caster": 2}, {1: "maggot", 2: "caster"})
# Text near what people type finds more than text at large.
TYPED = st.text(max_size=60) | st.text(
    alphabet="0123456789-/.,' lbozdrkgmftFabtesc\u2013\u0660\u00bd\u0130\n", max_size=14
)

READERS = {
    "date": lambda text: cells.read_date(text, DateOrder.DAY_MONTH_YEAR, TODAY),
    "hours": cells.read_hours,
    "distance": lambda text: cells.read_distance(text, DistanceUnit.FOOT),
    "wind": lambda text: cells.read_wind(text, CONVENTIONS.wind_words),
    "water_temperature": cells.read_water_temperature,
    "session": lambda text: cells.read_session(text, CONVENTIONS.session_words),
    "match": cells.read_match_code,
    "notes": cells.read_notes,
    "weight": lambda text: cells.read_weight(text, CONVENTIONS),
    "hook_bait": lambda text: cells.read_known(text, KNOWN, "hook_bait"),
}
WITHIN_BOUNDS = {
    "date": lambda day: date(1900, 1, 1) <= day <= TODAY,
    "hours": lambda hours: 0 < hours <= 48,
    "distance": lambda metres: 0 <= metres <= 150 and metres == round(metres, 2),
    "wind": lambda force: 0 <= force <= 12,
    "water_temperature": lambda celsius: Decimal(-2) <= celsius <= Decimal(40),
    "session": lambda kind: kind in ("match", "pleasure"),
    "match": lambda code: len(code) <= 40,
    "notes": lambda notes: len(notes) <= 1000,
    "weight": lambda cell: (
        (cell.weighing is None) == (cell.outcome in (Outcome.BLANK, Outcome.DID_NOT_WEIGH))
        and (cell.weighing is None or 0 < cell.weighing.weight_g <= 500_000)
    ),
    "hook_bait": lambda key: key in KNOWN.names,
}


@pytest.mark.parametrize("kind", READERS)
@given(text=TYPED)
@example("16oz est")
@example("99999999999999999999-0-0")
@example("\u0661\u0662")
@settings(max_examples=300, deadline=None)
def test_a_cell_is_within_bounds_or_a_problem_that_says_what_is_accepted(kind: str, text: str) -> None:
    try:
        value = READERS[kind](text.strip())
    except CellProblem as problem:
        value = problem
    assert value.code and value.message if isinstance(value, CellProblem) else WITHIN_BOUNDS[kind](value)


@given(
    pounds=st.integers(0, 1000),
    ounces=st.integers(0, 15),
    drams=st.integers(0, 15),
    mark=st.sampled_from(["", "abt ", "c."]),
)
@example(pounds=1000, ounces=0, drams=0, mark="")
def test_pounds_ounces_and_drams_in_any_writing_are_one_weight(
    pounds: int, ounces: int, drams: int, mark: str
) -> None:
    dashed, named = f"{mark}{pounds}-{ounces}-{drams}", f"{mark}{pounds}lb {ounces}oz {drams}dr"
    if pounds or ounces or drams:
        assert cells.read_weight(dashed, CONVENTIONS) == cells.read_weight(named, CONVENTIONS)


CELLS = {
    "date": st.sampled_from(["01/05/2024", "2024-05-02", "31/02/2024", ""]),
    "peg": st.sampled_from(["1", "2", "12A", "9"]),
    "water": st.sampled_from(["Alder Pond", "Brick Canal", "Lake"]),
    "session": st.sampled_from(["m", "p", "", "?"]),
    "match": st.sampled_from(["", "A", "a", "B"]),
    "hours": st.sampled_from(["5", "0"]),
    "weight": st.sampled_from(["1-2", "1lb 2oz", "blank", "dnw", "abt 3lb", "", "12"]),
    "hook_bait": st.sampled_from(["maggot", "cheese", ""]),
}
ROWS = st.lists(st.fixed_dictionaries(CELLS), max_size=30)


@pytest.fixture
def club(db: None) -> Club:
    return small_club()


@given(rows=ROWS)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_rows_read_are_landed_refused_and_duplicates_and_a_second_run_lands_nothing(
    club: Club, settings: Any, rows: list[dict[str, str]]
) -> None:
    with tempfile.TemporaryDirectory() as directory:
        settings.UPLOAD_DIR = Path(directory) / "uploads"
        Return.objects.filter(club=club).delete()
        desk = Desk(club, Path(directory))
        content = as_text(*(row(**cells) for cells in rows)).encode()
        rehearsed = desk.take_bytes(content, dry_run=True)
        report = desk.take_bytes(content)
        again = desk.take_bytes(content)
    assert {**report, "dry_run": True} == rehearsed
    assert report["rows_read"] == len(rows) == report["landed"] + report["refused"] + report["duplicates"]
    assert report["landed"] == Return.objects.filter(club=club).count()
    assert again["landed"] == 0 and again["refused"] == report["refused"]


@given(
    order=st.permutations(list(GOOD)),
    delimiter=st.sampled_from(",;"),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "cp1252"]),
)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_dry_run_is_the_same_for_any_order_of_columns_and_way_of_saving(
    club: Club, order: list[str], delimiter: str, encoding: str
) -> None:
    rows = [row(notes="£5"), row(peg="9"), row(weight="abt 3lb"), row(peg="2", weight="blank")]
    with tempfile.TemporaryDirectory() as directory:
        desk = Desk(club, Path(directory))
        plain = desk.take(*rows, dry_run=True)
        other = desk.take_bytes(
            as_text(*rows, columns=order, delimiter=delimiter).encode(encoding), dry_run=True
        )
    assert other == plain
