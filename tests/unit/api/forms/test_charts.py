"""Every chart at both widths, read back by outside readers and measured letter by letter."""

import json
import re
import struct
import threading
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import altair
import jsonschema
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from api.forms.charts.bank_intervals import BankIntervals
from api.forms.charts.bars import Bar, Bars
from api.forms.charts.base import Axis, BandLine, Spread
from api.forms.charts.calibration import Coverage
from api.forms.charts.curves import Curves
from api.forms.charts.heat_map import HeatMap
from api.forms.drawing.pictures import drawn, picture
from api.forms.drawing.scales import pounds_text
from api.forms.drawing.style import COLOURS
from api.forms.vega.documents import document
from api.forms.vega.parts import COLOURS as VEGA_COLOURS
from api.forms.width import Width
from tests.unit.api.forms.drawn import ALL, bank, distance, heat, season

SVG = "{http://www.w3.org/2000/svg}"
EACH = pytest.mark.parametrize("name", ALL)
AT = pytest.mark.parametrize("width", list(Width))
HOSTILE = "$x_{2}$ <b>\"&amp;' \x00\x07]]> =1+1 " * 3


@cache
def svg_of(name: str, width: Width) -> bytes:
    return picture(ALL[name](), "svg", width)


def words(svg: bytes) -> str:
    root = ElementTree.fromstring(svg)  # noqa: S314 - our own drawing
    said = " ".join("".join(text.itertext()).strip() for text in root.iter(f"{SVG}text"))
    return said.replace("\xa0", " ")


@EACH
@AT
def test_a_drawing_is_as_wide_as_asked_and_its_text_is_text(name: str, width: Width) -> None:
    chart = ALL[name]()
    svg = svg_of(name, width)
    root = ElementTree.fromstring(svg)  # noqa: S314 - our own drawing
    assert float(root.attrib["width"].removesuffix("pt")) * 96 / 72 == pytest.approx(width.pixels)
    said = words(svg)
    for sentence in (chart.title, chart.subtitle, chart.sentences):
        assert sentence in said
    assert f"From {chart.returns:,} returns." in said


@EACH
@AT
def test_a_picture_has_two_dots_a_pixel(name: str, width: Width) -> None:
    png = picture(ALL[name](), "png", width)
    # PNG (ISO/IEC 15948): the signature, then the header's length, name, width and height.
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    across, _ = struct.unpack(">II", png[16:24])
    assert across == 2 * width.pixels


@EACH
@AT
def test_a_drawing_is_told_to_those_who_hear_it(name: str, width: Width) -> None:
    chart = ALL[name]()
    root = ElementTree.fromstring(svg_of(name, width))  # noqa: S314 - our own drawing
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text == chart.title
    assert description is not None and chart.sentences in (description.text or "")
    assert root.attrib["aria-labelledby"] == f"{title.attrib['id']} {description.attrib['id']}"


def letters(name: str, width: Width, monkeypatch: pytest.MonkeyPatch) -> tuple[list[tuple[str, Any]], Any]:
    """Every text that is drawn, with the box that it takes, and the figure's own box."""
    figure = drawn(ALL[name](), width)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    seen: dict[int, Text] = {}
    draw = Text.draw

    def draw_and_note(text: Text, *args: Any, **kwargs: Any) -> None:
        if text.get_visible() and text.get_text().strip():
            seen[id(text)] = text
        draw(text, *args, **kwargs)

    monkeypatch.setattr(Text, "draw", draw_and_note)
    canvas.draw()
    renderer = canvas.get_renderer()
    return [(text.get_text(), text.get_window_extent(renderer)) for text in seen.values()], figure.bbox


@EACH
@AT
def test_no_letters_touch_and_none_leave_the_page(
    name: str, width: Width, monkeypatch: pytest.MonkeyPatch
) -> None:
    boxes, page = letters(name, width, monkeypatch)
    assert len(boxes) > 8
    for text, box in boxes:
        assert page.x0 - 1 <= box.x0 and box.x1 <= page.x1 + 1, text
        assert page.y0 - 1 <= box.y0 and box.y1 <= page.y1 + 1, text
    for place, (text, box) in enumerate(boxes):
        for other_text, other in boxes[place + 1 :]:
            across = min(box.x1, other.x1) - max(box.x0, other.x0)
            down = min(box.y1, other.y1) - max(box.y0, other.y0)
            assert across < 1.5 or down < 1.5, (text, other_text)


def test_the_bank_shows_each_peg_with_its_returns_and_says_what_is_left_out() -> None:
    chart = bank()
    assert isinstance(chart, BankIntervals)
    said = words(picture(chart, "svg", Width.PHONE))
    for peg in chart.pegs:
        assert f"{peg.label} ({peg.returns})" in said
    assert "Left out: 5 (overhead power line)." in said


def test_a_heat_map_writes_its_values_and_none_where_returns_are_too_few() -> None:
    chart = heat()
    assert isinstance(chart, HeatMap)
    written = re.findall(r"(?<![\d.])\d\.\d(?![\d.])", words(picture(chart, "svg", Width.PHONE)))
    told = [f"{(cell.value or 0) / 1000:.1f}" for cell in chart.cells if not cell.too_few]
    assert sorted(written) == sorted(told)


@EACH
def test_a_hostile_name_is_only_a_name(name: str) -> None:
    width = Width.PHONE
    chart = replace(ALL[name](), title=HOSTILE, subtitle=HOSTILE, caption=HOSTILE)
    said = words(picture(chart, "svg", width))
    assert "$x_{2}$ <b>\"&amp;'" in said and "\x07" not in said
    assert document(chart, width)["usermeta"]["caption"] == HOSTILE


@pytest.mark.parametrize("name", ["bank", "heat"])
def test_threads_that_draw_at_once_draw_what_one_draws_alone(name: str) -> None:
    alone = svg_of(name, Width.PHONE)
    together: list[bytes] = []
    threads = [
        threading.Thread(target=lambda: together.append(picture(ALL[name](), "svg", Width.PHONE)))
        for _ in range(3)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert together == [alone] * 3


@pytest.fixture(scope="module")
def vega_lite() -> jsonschema.Draft7Validator:
    """The schema that Vega-Lite 5.20.1 published, as altair 5.5 carries it."""
    path = Path(altair.__file__).parent / "vegalite" / "v5" / "schema" / "vega-lite-schema.json"
    assert altair.SCHEMA_VERSION.startswith("v5.")
    return jsonschema.Draft7Validator(json.loads(path.read_text()))


@EACH
@AT
def test_a_document_is_vega_lite(name: str, width: Width, vega_lite: jsonschema.Draft7Validator) -> None:
    found = json.loads(json.dumps(document(ALL[name](), width), allow_nan=False))
    vega_lite.validate(found)
    assert found["$schema"] == "https://vega.github.io/schema/vega-lite/v5.json"
    assert found["usermeta"]["returns"] == ALL[name]().returns


def test_the_schema_would_tell_a_document_that_is_none(vega_lite: jsonschema.Draft7Validator) -> None:
    assert not vega_lite.is_valid({**document(bank(), Width.PRINT), "layer": [{"mark": "blot"}]})


def test_a_document_has_the_numbers_of_its_chart() -> None:
    chart = bank()
    assert isinstance(chart, BankIntervals)
    rows = document(chart, Width.PRINT)["data"]["values"]
    for peg, row in zip(chart.pegs, rows, strict=True):
        told = {} if peg.spread is None else asdict(peg.spread)
        assert row.items() >= {"peg": peg.label, "returns": peg.returns, **told}.items()
        assert ("estimate" in row) is (peg.spread is not None)


def test_words_of_an_axis_are_strings_in_a_documents_expression() -> None:
    chart: Any = season()
    ticks = tuple(replace(tick, label='"};alert(1)//') for tick in chart.ticks)
    layer = document(replace(chart, ticks=ticks), Width.PRINT)["layer"][0]
    expression = layer["encoding"]["x"]["axis"]["labelExpr"]
    words_of, _ = json.JSONDecoder().raw_decode(expression)
    assert set(words_of.values()) == {'"};alert(1)//'}


def test_more_lines_than_can_be_told_apart_are_refused() -> None:
    chart = distance()
    assert isinstance(chart, Curves)
    with pytest.raises(ValueError, match="at most 4"):
        replace(chart, lines=(*chart.lines, BandLine("fifth", ())))


def test_a_line_of_one_point_still_shows_its_interval() -> None:
    chart: Any = season()
    one = replace(chart.lines[0], points=chart.lines[0].points[:1])
    assert picture(replace(chart, lines=(one,), raw=()), "svg", Width.PHONE)


def test_charts_without_anything_in_them_are_drawn_all_the_same() -> None:
    empty: list[Any] = [
        replace(bank(), pegs=()),  # type: ignore[call-arg]
        replace(heat(), rows=(), columns=(), cells=()),  # type: ignore[call-arg]
        replace(distance(), lines=()),  # type: ignore[call-arg]
        replace(season(), lines=(), raw=()),  # type: ignore[call-arg]
    ]
    for chart in empty:
        assert words(picture(chart, "svg", Width.PHONE))
        assert document(chart, Width.PHONE)["usermeta"]


@pytest.mark.parametrize("width", Width)
@pytest.mark.parametrize("most", [0.4, 12.0, 300.0, 8_982.0, 70_000.0, 2_000_000.0])
def test_however_heavy_the_bars_the_marks_in_pounds_stand_apart(most: float, width: Width) -> None:
    chart = Bars(
        title="What was caught",
        returns=9,
        value=Axis("Weight", "kg"),
        bars=(Bar("common carp", most, 8), Bar("perch", most / 9, 1)),
    )
    svg = picture(chart, "svg", width).decode()
    marks = re.findall(r">([\d,]+ lb(?: \d+ oz)?|\d+ oz)<", svg)
    assert 1 <= len(marks) <= 6 and len(set(marks)) == len(marks)


def test_pounds_and_ounces_read_as_they_are_spoken() -> None:
    assert [pounds_text(ounces) for ounces in (0, 8, 16, 24, 64)] == [
        "0",
        "8 oz",
        "1 lb",
        "1 lb 8 oz",
        "4 lb",
    ]


def test_the_bounds_of_a_share_are_wilsons() -> None:
    # scipy.stats.binomtest(80, 100).proportion_ci(method="wilson"), SciPy 1.14: 0.7111708, 0.8666331.
    assert Coverage(0.8, 80, 100).bounds == pytest.approx((0.7111708, 0.8666331), abs=1e-6)
    from scipy.stats import binomtest

    for inside, of in ((0, 5), (3, 7), (50, 50), (412, 640)):
        wilson = binomtest(inside, of).proportion_ci(method="wilson")
        assert Coverage(0.5, inside, of).bounds == pytest.approx((wilson.low, wilson.high), abs=1e-9)


def test_lines_stand_out_from_paper() -> None:
    """Contrast of at least 3 to 1 for what is not text (WCAG 2.2, success criterion 1.4.11)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for colour in COLOURS:
        assert 1.05 / (luminance(colour) + 0.05) >= 3, colour
    assert COLOURS == VEGA_COLOURS


def test_a_spread_is_given_from_the_outside_in() -> None:
    spread = Spread(1, 0.9, 1.1, 0.8, 1.2)
    assert spread.lower_90 < spread.lower_50 < spread.estimate < spread.upper_50 < spread.upper_90
