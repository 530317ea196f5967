"""Which form an Accept header likes best (RFC 9110, section 12.5.1)."""

import pytest

from api.forms.negotiation import CSV, FORMS, JSON, PNG, SVG, XLSX, Form, negotiate

BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,image/webp,*/*;q=0.8"
PICTURE = "image/avif,image/webp,image/png,image/svg+xml,image/*;q=0.8,*/*;q=0.5"


@pytest.mark.parametrize(
    ("accept", "liked"),
    [
        ("", JSON),
        ("*/*", JSON),
        ("application/json", JSON),
        ("text/csv", CSV),
        ("TEXT/CSV; header=present", CSV),
        (XLSX.media_type, XLSX),
        ("image/*", SVG),
        ("image/png", PNG),
        (PICTURE, SVG),
        (BROWSER, JSON),
        ("text/csv;q=0.5, image/png;q=0.9", PNG),
        ("application/json;q=0, */*;q=0.1", CSV),
        ("text/*;q=0.3, text/csv;q=0, image/png;q=0.2", PNG),
        ("text/html", None),
        ("application/json;q=0", None),
        ("application/json;q=nonsense", None),
        ("nonsense", JSON),
    ],
)
def test_the_closest_range_decides_and_the_best_liked_form_wins(accept: str, liked: Form | None) -> None:
    assert negotiate(accept, FORMS) is liked


def test_a_form_that_is_not_offered_is_not_chosen() -> None:
    assert negotiate("image/png, application/json;q=0.1", [JSON, CSV]) is JSON
    assert negotiate("image/png", [JSON, CSV]) is None
