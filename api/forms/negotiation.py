"""Which form of a resource is wanted: by the `format` parameter, else by the Accept header (RFC 9110)."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Shape(StrEnum):
    """What a form is made of."""

    ANSWER = "answer"
    TABLES = "tables"
    CHART = "chart"


@dataclass(frozen=True, slots=True)
class Form:
    """A form by the name that `format` takes, its media type, and the file name's ending."""

    name: str
    media_type: str
    shape: Shape
    ending: str

    @property
    def content_type(self) -> str:
        is_text = self.media_type in {"text/csv", "image/svg+xml"}
        return f"{self.media_type}; charset=utf-8" if is_text else self.media_type


JSON: Final = Form("json", "application/json", Shape.ANSWER, "json")
CSV: Final = Form("csv", "text/csv", Shape.TABLES, "csv")
XLSX: Final = Form(
    "xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", Shape.TABLES, "xlsx"
)
PARQUET: Final = Form("parquet", "application/vnd.apache.parquet", Shape.TABLES, "parquet")
SVG: Final = Form("svg", "image/svg+xml", Shape.CHART, "svg")
PNG: Final = Form("png", "image/png", Shape.CHART, "png")
VEGA: Final = Form("vega", "application/vnd.vegalite.v5+json", Shape.CHART, "vl.json")
FORMS: Final = (JSON, CSV, XLSX, PARQUET, SVG, PNG, VEGA)
BY_NAME: Final = {form.name: form for form in FORMS}


@dataclass(frozen=True, slots=True)
class _Range:
    kind: str
    subtype: str
    quality: float

    def closeness(self, form: Form) -> int:
        """2 where the range names the form's type, 1 its kind only, 0 anything, -1 something else."""
        kind, _, subtype = form.media_type.partition("/")
        if (self.kind, self.subtype) == (kind, subtype):
            return 2
        if self.subtype != "*":
            return -1
        return {kind: 1, "*": 0}.get(self.kind, -1)


def negotiate(accept: str, forms: Sequence[Form]) -> Form | None:
    """The form that the header likes best, the first of `forms` among equals; None where it likes none."""
    ranges = list(_ranges(accept)) or [_Range("*", "*", 1.0)]
    best = max(forms, key=lambda form: _liking(form, ranges))
    return best if _liking(best, ranges) > 0 else None


def _liking(form: Form, ranges: Iterable[_Range]) -> float:
    """The quality of the closest range that takes the form; 0 where none does."""
    taking = [(one.closeness(form), one.quality) for one in ranges if one.closeness(form) >= 0]
    return max(taking)[1] if taking else 0.0


def _ranges(accept: str) -> Iterator[_Range]:
    for part in accept.split(","):
        media_range, *parameters = (piece.strip() for piece in part.lower().split(";"))
        kind, slash, subtype = media_range.partition("/")
        if slash and kind and subtype:
            yield _Range(kind, subtype, _quality(parameters))


def _quality(parameters: Iterable[str]) -> float:
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            try:
                quality = float(value)
            except ValueError:
                return 0.0
            return quality if 0 <= quality <= 1 else 0.0
    return 1.0
