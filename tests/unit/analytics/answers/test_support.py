"""Counts of returns and members behind the parts of an answer."""

import json
from datetime import date
from typing import Any

from analytics.answers.support import NOBODY, Tally, WaterSupport, behind_of, by_method, support_from
from analytics.store import StoredFit

STORED = {
    "choices": [
        ["mere", "worm", "bulk", "pole", 19, 4],
        ["mere", "worm", "bulk", None, 21, 2],
        ["mere", "worm", None, None, None, 5],
        ["mere", None, "bulk", None, 19, 7],
        ["mere", "corn", "loose", None, 80, 3],
        ["brook", "worm", "bulk", None, 19, 9],
    ],
    "method": [["mere", "pole", 4], ["mere", None, 16], ["brook", None, 9]],
    "behind": {
        "mere": {
            "returns": [[20, "2024-05-01", 6]],
            "peg": [["p1", 3, "2024-05-01", 2], ["p2", 5, "2023-07-01", 5]],
            "bait": [["worm", 11, "2024-05-01", 5], [None, 7, "2022-05-01", 1]],
            "bait_month": [
                ["worm", 12, 2, "2023-12-24", 2],
                ["worm", 1, 1, "2024-01-03", 1],
                ["corn", 6, 9, "2023-06-16", 4],
            ],
            "bait_peg": [["p1", "worm", 3, "2024-05-01", 2], ["p2", None, 2, "2023-07-01", 1]],
            "bait_near": [["worm", 19, 6, "2024-05-01", 3]],
            "bait_rig": [["worm", "bulk", 6, "2024-05-01", 3]],
        }
    },
}


def counted(methods: frozenset[str] | None = None) -> WaterSupport:
    return support_from(STORED["choices"], water="mere", methods=methods)


def stored(**changes: Any) -> StoredFit:
    """A fit of which nothing but its counts is read."""
    return StoredFit(None, 1, json.dumps({**STORED, **changes}), "{}")  # type: ignore[arg-type]


def test_counts_are_of_one_water() -> None:
    support = counted()
    worm = support.baits.index("worm")
    assert support.on_water(worm) == 11
    assert support.on_rig[worm, support.rigs.index("bulk")] == 6
    assert support.near[worm, 19] == 6, "9.5 m and 10.5 m lie within a metre"
    assert support.near[worm, 18] == 4
    assert support.near[worm, 24] == 0
    assert support.near[worm, 32] == 0, "what was not recorded is near nothing"
    assert support.beyond == 3


def test_a_method_keeps_only_what_was_caught_by_it() -> None:
    support = counted(methods=frozenset({"pole"}))
    assert support.baits == ("worm",) and support.on_water(0) == 4
    assert counted(methods=frozenset({"whip"})).tells_distance, "other methods tell of distances here"


def test_a_water_whose_returns_record_no_distance_tells_none() -> None:
    rows = [["mere", "worm", "bulk", None, None, 4], ["mere", None, "bulk", None, 19, 7]]
    assert not support_from(rows, water="mere", methods=None).tells_distance


def test_steps_span_what_was_fished_and_stop_at_the_pole() -> None:
    support = counted()
    assert support.steps(None).tolist() == [19, 20, 21]
    assert support.steps(10.0).tolist() == [19, 20]
    assert support.steps(9.4).tolist() == []


def test_a_season_goes_round_the_year() -> None:
    behind = behind_of(stored(), "mere")
    assert behind is not None
    assert behind.in_season(12) == behind.in_season(1) == {"worm"}
    assert behind.in_season(3) == set()
    assert behind.in_season(7) == {"corn"}


def test_what_stands_behind_a_part_is_found_by_its_code() -> None:
    behind = behind_of(stored(), "mere")
    assert behind is not None
    assert behind.water == Tally(20, date(2024, 5, 1), 6)
    assert behind.peg["p2"] == Tally(5, date(2023, 7, 1), 5)
    assert behind.bait[None].returns == 7
    assert behind.bait_peg["p2", None] == Tally(2, date(2023, 7, 1), 1)
    assert behind.bait_near.get(("worm", 20), NOBODY) == NOBODY
    assert by_method(STORED, water="mere") == {"pole": 4}


def test_nothing_stands_behind_a_water_that_the_fit_never_used() -> None:
    assert behind_of(stored(), "tarn") is None


def test_two_fits_are_never_taken_for_one_another() -> None:
    first, second = stored(), stored(behind={})
    assert behind_of(first, "mere") is not None and behind_of(second, "mere") is None
