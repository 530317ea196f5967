"""What may be read of a peg's figures, and a raw ratio taken apart, on rows made by hand."""

import math

import pytest

from analytics.answers.peg_figures import (
    PegFigures,
    Row,
    WaterFigures,
    open_pegs,
    read_figures,
    reference_rows,
    why_they_differ,
)
from analytics.observed.columns import ALL_YEAR, COLUMNS, PARTS


def row(anglers: int = 9, **values: float) -> Row:
    usual = dict.fromkeys(PARTS, 0.0) | {"hours": 10.0, "weight_g": 5000.0, "fitted_g": 5000.0}
    usual |= {"variance_g2": 1e6, "information": 20.0, "believed": 20.0}
    return {"returns": 20, "blanks": 1, "matches": 8, "anglers": anglers} | usual | values


def figures(**anglers: int) -> PegFigures:
    """Periods and how many fished in each."""
    return PegFigures({name.lstrip("m"): row(number) for name, number in anglers.items()}, {}, None, None)


def test_four_anglers_are_kept_back_and_five_are_not() -> None:
    pegs = {"a": figures(all=4), "b": figures(all=3), "c": figures(all=5), "d": figures(all=9)}
    assert open_pegs(pegs, ALL_YEAR) == {"c", "d"}


def test_a_single_one_kept_back_takes_the_least_fished_beside_it_along() -> None:
    pegs = {"a": figures(all=4), "b": figures(all=7), "c": figures(all=6), "d": figures(all=9)}
    assert open_pegs(pegs, ALL_YEAR) == {"b", "d"}
    assert open_pegs({"a": figures(all=4), "b": figures(all=7)}, ALL_YEAR) == frozenset()
    assert open_pegs({"a": figures(all=5), "b": figures(all=7)}, ALL_YEAR) == {"a", "b"}


def test_one_season_of_few_closes_the_others_of_its_peg() -> None:
    pegs = {
        "a": figures(all=9, winter=4, summer=8),
        "b": figures(all=9, winter=6, summer=8),
        "c": figures(all=9, winter=7, summer=8),
        "d": figures(all=9, summer=8),
    }
    assert open_pegs(pegs, ALL_YEAR) == {"a", "b", "c", "d"}
    assert "a" not in open_pegs(pegs, "summer") | open_pegs(pegs, "winter")
    assert open_pegs(pegs, "winter") == {"c"}


def test_months_and_seasons_are_judged_each_among_their_own_kind() -> None:
    pegs = {name: figures(all=9, summer=8, m6=3, m7=8) for name in "abc"}
    assert open_pegs(pegs, "summer") == {"a", "b", "c"}
    assert open_pegs(pegs, "7") == frozenset()


def test_the_waters_rate_is_of_what_all_may_read_else_of_all() -> None:
    pegs = {"a": figures(all=4), "b": figures(all=3), "c": figures(all=5)}
    assert list(reference_rows(pegs, ALL_YEAR, open_pegs(pegs, ALL_YEAR))) == ["c"]
    assert list(reference_rows({"a": pegs["a"]}, ALL_YEAR, frozenset())) == ["a"]
    assert reference_rows(pegs, "winter", frozenset()) == {}


def test_a_raw_ratio_is_taken_apart_exactly() -> None:
    one = row(hours=20.0, weight_g=16000.0, fitted_g=14000.0, who=4.0, season=-1.0, believed=23.0)
    other = row(hours=30.0, weight_g=12000.0, fitted_g=12500.0, who=-3.0, tackle=2.0)
    water = WaterFigures.of({"one": one, "other": other}, {"one": 0.2, "other": -0.2})
    assert water.multiplier == pytest.approx((20 * math.exp(0.2) + 30 * math.exp(-0.2)) / 50)
    found = why_they_differ(one, 0.2, water)
    assert found.raw_ratio == pytest.approx((16000 / 20) / (28000 / 50))
    assert found.multiplier * math.prod(found.parts.values()) * found.remainder == pytest.approx(
        found.raw_ratio
    )
    assert found.parts["who"] == pytest.approx(math.exp(4 / 20 - 1 / 50))
    assert found.parts["held_back"] == pytest.approx((23 / 20) / (43 / 40))
    assert found.parts["pegs_fished"] == pytest.approx(1 / water.multiplier)
    assert found.parts["conditions"] == 1.0


def test_where_all_else_is_alike_the_pegs_fished_are_all_of_the_difference() -> None:
    logs = {"best": 0.8, "usual": 0.0, "least": -0.8}
    rows = {
        peg: row(
            hours=hours,
            weight_g=100 * hours * math.exp(logs[peg]),
            fitted_g=100 * hours * math.exp(logs[peg]),
        )
        for peg, hours in (("best", 60.0), ("usual", 20.0), ("least", 10.0))
    }
    water = WaterFigures.of(rows, logs)
    for peg, figures_of in rows.items():
        found = why_they_differ(figures_of, logs[peg], water)
        assert found.remainder == pytest.approx(1.0)
        assert found.raw_ratio == pytest.approx(found.multiplier * found.parts["pegs_fished"])


def test_a_peg_of_blanks_has_a_raw_ratio_of_nought() -> None:
    blank = row(weight_g=0.0, believed=0.0)
    water = WaterFigures.of({"blank": blank, "other": row()}, {"blank": -0.1, "other": 0.1})
    found = why_they_differ(blank, -0.1, water)
    assert (found.raw_ratio, found.parts["held_back"], found.parts["heavy_sessions"]) == (0.0, 0.0, 1.0)
    assert math.isfinite(found.remainder)


def test_a_water_of_blanks_alone_is_no_division_by_nought() -> None:
    blank = row(weight_g=0.0, believed=0.0)
    found = why_they_differ(blank, 0.0, WaterFigures.of({"blank": blank}, {"blank": 0.0}))
    assert found.raw_ratio == 0.0 and math.isfinite(found.remainder)


def test_a_run_without_figures_of_pegs_has_none() -> None:
    assert read_figures({}, ["a"]) == {}
    stored = {"columns": list(COLUMNS), "pegs": {}}
    assert read_figures({"pegs": stored}, ["a"]) == {}
