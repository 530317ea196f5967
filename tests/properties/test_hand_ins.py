"""What a hand-in is answered with, put together from what was written, is what is read of it afterwards."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from clubdata.models import Account, Doubt, Return, Species, StoredReply
from tests.factories import SmallClub, make_word

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
RETURNS = "/api/v1/clubs/heron-small/returns/"
ClientFor = Callable[[Account], APIClient]


def figures(least: str, most: str, places: int) -> st.SearchStrategy[str]:
    """As typed: 5, 5.0 and 5.00 are one figure."""
    written = st.decimals(least, most, places=places)
    return written.map(str) | written.map(lambda figure: f"{figure.normalize():f}")


def some(fields: dict[str, st.SearchStrategy[Any]]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=fields)


PARTS = some(
    {
        "method": st.sampled_from(["pole", "WAGGLER"]),
        "hook_bait": st.sampled_from(["caster", "casters", "red maggot"]),
        "feed": st.just("groundbait"),
        "distance_m": figures("0", "60", 2),
        "depth_cm": st.integers(0, 900),
        "hours": figures("0.01", "3", 2),
        "main_line_mm": figures("0.05", "0.3", 3),
        "hooklength_mm": figures("0.05", "0.3", 3),
        "hook_size": st.integers(1, 30),
        "float_g": figures("0.01", "20", 2),
    }
)
# In no order of the alphabet.
LINES = st.lists(st.sampled_from(["roach", "bream", "zander", "ANCHOVY"]), unique=True, max_size=4).flatmap(
    lambda names: st.tuples(
        *(
            some(
                {
                    "fish_count": st.integers(0, 2000),
                    "biggest": st.sampled_from(["3 oz", "20 g", "9 kg"]),
                    "biggest_length_cm": figures("1", "90", 1),
                    "lost_count": st.integers(0, 9),
                }
            ).map(lambda line, name=name: {"species": name, **line})
            for name in names
        )
    )
)
DAYS = some(
    {
        "air_temperature_c": figures("-9", "30", 1),
        "water_temperature_c": figures("0", "25", 1),
        "wind_force": st.integers(0, 12),
        "pressure_hpa": figures("950", "1050", 1),
        "tow": st.sampled_from(["", "slight"]),
        "level_cm": st.integers(-50, 50),
    }
)
BODIES = st.fixed_dictionaries(
    {
        "water": st.just("heron-small MERE"),
        "peg": st.sampled_from(["1", "5", "12a"]),
        "fished_on": st.dates(date(1990, 1, 1), date(2023, 12, 31)).map(str),
        "hours": figures("3", "40", 2),
        "weight": st.sampled_from(["12lb 8oz", "12-7-8", "3.755 kg", "40 kg", "850 g", "blank"]),
        "notes": st.sampled_from(["", "  The far bank ", "Größe"]),
    },
    optional={
        "started_at": st.sampled_from(["08:00", "23:59:59"]),
        "rods": st.integers(1, 4),
        "guest": st.booleans(),
        "from_memory": st.booleans(),
        "parts": st.lists(PARTS, min_size=1, max_size=3),
        "catch": LINES.map(list),
        "conditions": st.none() | DAYS,
    },
)


@given(body=BODIES, keyed=st.booleans(), named=st.none() | st.uuids())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_hand_in_is_answered_with_what_is_read_of_it_afterwards(
    body: dict[str, Any], keyed: bool, named: Any, heron_small: SmallClub, client_for: ClientFor
) -> None:
    for name in ("zander", "anchovy"):
        if not Species.objects.filter(club=heron_small.club, name=name).exists():
            make_word(Species, heron_small.club, name, heaviest_g=5000)
            heron_small.club.raise_places_revision()
    StoredReply.objects.all().delete()
    Return.with_removed.all().delete()
    client = client_for(heron_small.account())
    sent = body if named is None else {**body, "uid": str(named)}
    headers = {"Idempotency-Key": f'"{named}-{keyed}"'} if keyed and named else {}
    answer = client.post(RETURNS, sent, headers=headers)
    if answer.status_code == 400:  # a blank with fish
        assert not Return.objects.exists() and not Doubt.objects.exists()
        return
    assert answer.status_code == 201, answer.content
    said = answer.json()
    read = client.get(f"{RETURNS}{said['uid']}/").json()
    assert said == read
    assert [line["species"]["name"] for line in said["catch"]] == [
        line["species"].lower() for line in body.get("catch", ())
    ]
    (listed,) = client.get(RETURNS).json()["results"]
    assert listed == {name: value for name, value in read.items() if name in listed}


def test_the_property_above_meets_doubts_and_cautions(heron_small: SmallClub, client_for: ClientFor) -> None:
    """Else it would compare nothing with nothing."""
    body = {
        "water": "Heron-Small Mere",
        "peg": "5",
        "fished_on": "2023-06-01",
        "hours": "40",
        "weight": "40 kg",
        "parts": [{"hook_bait": "caster", "main_line_mm": "0.1", "hooklength_mm": "0.2"}],
        "catch": [{"species": "roach", "biggest": "9 kg"}, {"species": "bream", "fish_count": 3}],
    }
    client = client_for(heron_small.account())
    said = client.post(RETURNS, body).json()
    assert len(said["doubts"]) >= 2 and said["cautions"]
    assert client.get(f"{RETURNS}{said['uid']}/").json() == said
