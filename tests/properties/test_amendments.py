"""What is kept of an amendment says all of it: read backwards it gives what stood before."""

from datetime import date, time
from decimal import Decimal
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from clubdata.services.hand_ins import CatchInput, ConditionsInput, HandIn, PartInput
from clubdata.services.handed import differences, from_plain, to_plain

WORDS = st.text(max_size=12)
AMOUNTS = st.none() | st.decimals(0, 48, places=2)
COUNTS = st.none() | st.integers(0, 1000)
PARTS = st.builds(PartInput, hook_bait=WORDS, distance_m=AMOUNTS, depth_cm=COUNTS, hook_size=COUNTS)
LINES = st.builds(CatchInput, species=WORDS, fish_count=COUNTS, weight=WORDS, biggest_length_cm=AMOUNTS)
DAYS = st.builds(ConditionsInput, wind_force=COUNTS, rain_mm=AMOUNTS, tow=WORDS)
HAND_INS = st.builds(
    HandIn,
    water=WORDS,
    fished_on=st.dates(date(1990, 1, 1), date(2040, 1, 1)),
    outcome=WORDS,
    started_at=st.none() | st.times().map(lambda at: time(at.hour, at.minute)),
    hours=AMOUNTS,
    notes=WORDS,
    uid=st.none() | st.uuids(),
    parts=st.lists(PARTS, max_size=3).map(tuple),
    catch=st.lists(LINES, max_size=3).map(tuple),
    conditions=st.none() | DAYS,
)


@given(HAND_INS)
def test_a_hand_in_comes_back_from_its_plain_form(data: HandIn) -> None:
    assert from_plain(to_plain(data)) == data


def flat(value: Any, path: str = "") -> dict[str, Any]:
    """Leaves by dotted path, written here again so that the test does not ask the code."""
    if isinstance(value, dict):
        pairs = list(value.items())
    elif isinstance(value, list):
        pairs = list(enumerate(value))
    else:
        return {path: value}
    found: dict[str, Any] = {}
    for name, inner in pairs:
        found |= flat(inner, f"{path}.{name}".lstrip("."))
    return found


@given(HAND_INS, HAND_INS)
def test_changes_read_backwards_give_what_stood_before(before: HandIn, after: HandIn) -> None:
    old, new = to_plain(before), to_plain(after)
    undone = flat(new)
    for change in differences(old, new):
        undone[change["field"]] = change["from"]
    known = {name: value for name, value in undone.items() if value is not None}
    assert known == {name: value for name, value in flat(old).items() if value is not None}


def test_equal_numbers_are_no_change() -> None:
    one = HandIn(water="mere", fished_on=date(2024, 5, 1), hours=Decimal("5.00"))
    assert (
        differences(
            to_plain(one), to_plain(HandIn(water="mere", fished_on=date(2024, 5, 1), hours=Decimal(5)))
        )
        == []
    )
