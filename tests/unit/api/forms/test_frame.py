"""Text broken into the lines of a drawing."""

import pytest

from api.forms.drawing.frame import broken
from api.forms.drawing.style import SMALL_PT


@pytest.mark.parametrize("together", ["9.5 m", "12 lb", "8 oz", "90 %", "8 °C", "peg 14", "Peg 12A"])
def test_a_number_stays_with_its_unit_and_its_peg(together: str) -> None:
    for words in range(8):
        text = " ".join(["word"] * words + [together, "and", "on"])
        kept = together.replace(" ", "\xa0")
        assert any(kept in line for line in broken(text, 60.0, SMALL_PT)), broken(text, 60.0, SMALL_PT)


def test_other_words_break_where_the_line_is_full() -> None:
    lines = broken("red maggot, dead, up in the water", 60.0, SMALL_PT)
    assert len(lines) > 1
    assert " ".join(lines) == "red maggot, dead, up in the water"
