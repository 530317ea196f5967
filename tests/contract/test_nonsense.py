"""Whatever is sent, the answer is a problem with a name; never a 500."""

import json
from collections.abc import Callable
from itertools import product
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from api.errors import MEDIA_TYPE
from tests.contract.routes import OF_A_CLUB, READS, Operation, StockedClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[..., APIClient]
BIG = "9" * 400
VALUES = [
    *("", "\x00", "a\x00b", "-1", "0", BIG, "1e999", "nan", "inf", "-inf", "½", "١", "' OR 1=1 --"),
    *("../../etc/passwd", "{}", "[]", "null", "ｰ" * 300, "\ud7ff", "0001-01-01", "9999-12-31", "2024-13-45"),
]
TAILS = ["x", "%00", BIG, "00000000-0000-0000-0000-00000000000g", "%ff%fe", "..", "1"]
HAND_IN = {
    "water": "Heron-Small Mere",
    "peg": "1",
    "fished_on": "2024-05-01",
    "outcome": "weighed",
    "weight": "1-2-3",
    "hours": 5,
}


def parameters_of(operation: Operation) -> list[str]:
    described = operation.description.get("parameters", [])
    return [parameter["name"] for parameter in described if parameter["in"] == "query"]


def check_is_problem_or_fine(response: Any) -> None:
    assert response.status_code < 500, response.content
    if response.status_code >= 400:
        assert response["Content-Type"] == MEDIA_TYPE
        body = json.loads(response.content)
        assert body["status"] == response.status_code
        assert body["type"].startswith("/problems/")


@pytest.mark.parametrize("operation", READS, ids=str)
def test_nonsense_in_any_parameter(operation: Operation, stocked: StockedClub, client_for: ClientFor) -> None:
    client = client_for(stocked.small.account("secretary"))
    address = stocked.address(operation.path)
    names = [*parameters_of(operation), "nonsense"]
    for name, value in [*product(names, VALUES), *zip(VALUES[:4], VALUES, strict=False)]:
        check_is_problem_or_fine(client.get(address, {**operation.query, name: value}))
    # What is there twice is refused before it is read, whatever it is.
    for name, value in product(names, VALUES[:2]):
        check_is_problem_or_fine(client.get(address, {**operation.query, name: [value, value]}))


@pytest.mark.parametrize("operation", OF_A_CLUB, ids=str)
def test_nonsense_in_the_path(operation: Operation, stocked: StockedClub, client_for: ClientFor) -> None:
    client = client_for(stocked.small.account("secretary"))
    for tail in TAILS:
        for path in (operation.path.replace("{uid}", tail), operation.path.replace("{slug}", tail)):
            address = path.replace("{slug}", "heron-small").replace("{uid}", tail)
            check_is_problem_or_fine(client.generic(operation.method, address))


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"null", b"7", b'"x"', b"\xff\xfe", b'{"water": NaN}', b'{"hours": Infinity}',
        b'{"hours": 1e999}', b'{"rods": ' + b"9" * 5000 + b"}", b"[" * 100_000, b'{"a":' * 50_000,
        b'{"water": "\\u0000"}', b'{"water": "\\ud800"}', b'{"parts": {"0": {}}}', b'{"parts": [7]}',
        b'{"\\ud800": 1}', b'{"outcome": "\\ud800"}', b'{"parts": [{"\\udfff": 1}]}',
        b'{"parts": [[[]]]}', b'{"uid": 340282366920938463463374607431768211456}', b'{"conditions": []}',
    ],
)  # fmt: skip
def test_nonsense_as_a_body(body: bytes, stocked: StockedClub, client_for: ClientFor) -> None:
    client = client_for(stocked.small.account())
    address = f"/api/v1/clubs/{stocked.small.club.slug}/returns/"
    response = client.generic("POST", address, body, content_type="application/json")
    check_is_problem_or_fine(response)
    assert response.status_code == 400


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(min_value=-(10**30), max_value=10**30)
    | st.floats()
    | st.text(max_size=50)
    | st.sampled_from(["2024-05-01", "weighed", "blank", "pole", "12-7-8", "1", "match", "0-0-0", "M1"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=5,
)
FIELDS = [*HAND_IN, "uid", "member", "match", "session_kind", "started_at", "rods", "fish_count", "notes",
          "from_memory", "parts", "catch", "conditions"]  # fmt: skip
PART = ["method", "hook_bait", "feed", "rig_type", "distance_m", "depth_cm", "hours", "weight"]
CONDITIONS = ["air_temperature_c", "wind_force", "pressure_hpa", "rain_mm", "tow", "clarity_cm", "level_cm"]
hand_ins = st.fixed_dictionaries(
    {},
    optional={
        **dict.fromkeys(FIELDS, json_values),
        "parts": st.lists(st.dictionaries(st.sampled_from(PART), json_values, max_size=4), max_size=3),
        "conditions": st.dictionaries(st.sampled_from(CONDITIONS), json_values, max_size=4),
    },
)


@given(changes=hand_ins)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_json_is_taken_or_told_what_is_wrong(
    changes: dict[str, Any], stocked: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(stocked.small.account("secretary"))
    address = f"/api/v1/clubs/{stocked.small.club.slug}/returns/"
    body = json.dumps({**HAND_IN, **changes})
    check_is_problem_or_fine(client.generic("POST", address, body, content_type="application/json"))


@pytest.mark.parametrize(
    ("method", "headers", "status"),
    [
        ("PUT", {}, 405),
        ("PATCH", {}, 405),
        ("DELETE", {}, 405),
        ("GET", {"HTTP_ACCEPT": "text/csv"}, 406),
        ("POST", {"content_type": "text/plain"}, 415),
        ("POST", {"content_type": "application/json", "CONTENT_LENGTH": str(10**9)}, 413),
    ],
)
def test_wrong_methods_types_and_sizes_have_names(
    method: str, headers: dict[str, str], status: int, stocked: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(stocked.small.account())
    address = f"/api/v1/clubs/{stocked.small.club.slug}/returns/"
    response = client.generic(method, address, "{}", **headers)
    assert response.status_code == status
    check_is_problem_or_fine(response)
    if status == 405:
        assert set(response["Allow"].split(", ")) == {"GET", "POST", "HEAD", "OPTIONS"}


@pytest.mark.parametrize("key", ["x", "", "\x7f" * 10, "é", "a" * 10_000, "x y"])
def test_a_key_that_opens_nothing_is_a_401(key: str, stocked: StockedClub) -> None:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")
    response = client.get("/api/v1/me/")
    assert response.status_code == 401
    check_is_problem_or_fine(response)
