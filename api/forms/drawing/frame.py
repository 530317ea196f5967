"""What stands around a drawing: title and reference above it, notes, caption and number of returns below."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

from api.forms.charts.base import Chart
from api.forms.drawing.style import INK, LEADING, SMALL_PT, SOFT, TEXT_PT, TITLE_PT
from api.forms.plain import plain
from api.forms.width import Width

POINTS_PER_INCH = 72
MARGIN_IN = 0.1
_BETWEEN_IN = 0.08


@dataclass(frozen=True, slots=True)
class Plan:
    """The height that a drawing needs, in inches, and what must be said under it."""

    height_in: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Lines of one size, broken to the figure's width."""

    lines: tuple[str, ...]
    size_pt: float
    colour: str
    weight: str = "normal"

    @property
    def height_in(self) -> float:
        return len(self.lines) * self.size_pt * LEADING / POINTS_PER_INCH


def inches(width: Width) -> float:
    """The width of the whole figure."""
    return width.pixels / 96


def framed(chart: Chart, plan: Plan, width: Width) -> Figure:
    """A figure with its words set, and a layout that keeps the drawing between them."""
    across_in = inches(width)
    # A little less than there is: letters come out a little wider at some sizes.
    room_pt = 0.98 * (across_in - 2 * MARGIN_IN) * POINTS_PER_INCH
    above = _paragraphs(
        [(chart.title, TITLE_PT, INK, "bold"), (chart.subtitle, TEXT_PT, SOFT, "normal")], room_pt
    )
    said = [(note, SMALL_PT, INK, "normal") for note in plan.notes]
    below = _paragraphs([*said, (chart.sentences, SMALL_PT, SOFT, "normal")], room_pt)
    top_in, bottom_in = (MARGIN_IN + _BETWEEN_IN + _height(part) for part in (above, below))
    high_in = top_in + plan.height_in + bottom_in
    figure = Figure(figsize=(across_in, high_in))
    figure.set_layout_engine(
        "constrained",
        rect=(0, bottom_in / high_in, 1, plan.height_in / high_in),
        w_pad=MARGIN_IN,
        h_pad=0.03,
    )
    _set(figure, above, from_top_in=MARGIN_IN)
    _set(figure, below, from_top_in=high_in - bottom_in + _BETWEEN_IN)
    return figure


def text_width_pt(text: str, size_pt: float, weight: str = "normal") -> float:
    """How wide a text comes out, in points."""
    font = FontProperties(size=size_pt, weight=weight)
    across, _, _ = _RULER.get_text_width_height_descent(text, font, False)  # type: ignore[no-untyped-call]
    return float(across)


def broken(text: str, room_pt: float, size_pt: float, weight: str = "normal") -> tuple[str, ...]:
    """The text in lines that fit; a word that alone is too long stays whole."""
    lines: list[str] = []
    for word in _KEPT_TOGETHER.sub("\xa0", plain(text)).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_pt(longer, size_pt, weight) <= room_pt:
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(lines)


# A unit stays with its number, and a peg's number with its word.
_KEPT_TOGETHER = re.compile(r"(?<=[0-9]) (?=(?:m|lb|oz|kg|g|h)\b|%|°C)|(?<=[Pp]eg) (?=[0-9])")


# At 72 dots an inch a dot is a point.
def cut(text: str, room_pt: float, *, lines: int = 2) -> str:
    """A label in so many lines at most, an ellipsis where it goes on."""
    found = broken(text, room_pt, SMALL_PT)
    if len(found) > lines:
        found = (*found[: lines - 1], f"{found[lines - 1]}…")
    return "\n".join(found)


_RULER = RendererAgg(1, 1, POINTS_PER_INCH)  # type: ignore[no-untyped-call]


def _paragraphs(said: Iterable[tuple[str, float, str, str]], room_pt: float) -> list[Paragraph]:
    return [
        Paragraph(broken(text, room_pt, size, weight), size, colour, weight)
        for text, size, colour, weight in said
        if text
    ]


def _height(paragraphs: Sequence[Paragraph]) -> float:
    return sum(one.height_in for one in paragraphs)


def _set(figure: Figure, paragraphs: Sequence[Paragraph], *, from_top_in: float) -> None:
    across_in, high_in = figure.get_size_inches()
    for one in paragraphs:
        for line in one.lines:
            figure.text(
                MARGIN_IN / across_in,
                1 - from_top_in / high_in,
                line,
                size=one.size_pt,
                color=one.colour,
                weight=one.weight,
                va="top",
                in_layout=False,
            )
            from_top_in += one.size_pt * LEADING / POINTS_PER_INCH
