"""Which cautions come with which session, and what each must say."""

from datetime import date
from typing import Any

import pytest

from clubdata.rules.cautions import (
    HAZARDS_THAT_ONLY_CAUTION,
    Caution,
    cautions_for,
    forbids_advice,
    means_power_line,
)

QUIET_AUTUMN_DAY: dict[str, Any] = {
    "water_kind": "stillwater",
    "on": date(2024, 10, 5),
    "month": None,
    "water_temperature_c": 12.0,
    "wind_force": 2,
    "hazards": (),
    "longest_pole_m": None,
}


def cautions(**differences: Any) -> dict[str, Caution]:
    found = cautions_for(**(QUIET_AUTUMN_DAY | differences))
    assert len({caution.sentence for caution in found}) == len(found)
    return {caution.code: caution for caution in found}


def test_a_quiet_autumn_day_has_the_standing_cautions_alone() -> None:
    assert list(cautions()) == ["local_close_season", "lead_weights"]


def test_a_power_line_comes_first_and_says_what_to_do_and_whom_to_tell() -> None:
    found = cautions(hazards=["steep bank", "overhead power line"], wind_force=9, longest_pole_m=16.0)
    assert next(iter(found)) == "overhead_power_line"
    sentence = found["overhead_power_line"].sentence
    for words in ("do not fish here", "water officer", "bailiff", "network operator", "105", "30 m"):
        assert words in sentence
    assert "no distance is a promise of safety" in sentence


@pytest.mark.parametrize(
    "spelling",
    [
        *("overhead power line", "Overhead  Power Line ", "OVERHEAD POWER LINES", "power line overhead"),
        *("Power-lines", "powerlines", "overhead cables", "overhead wires", "Pylon", "low electricity line"),
        *("11 kV cable", "high-voltage line"),
    ],
)
def test_no_spelling_of_a_power_line_lets_advice_through(spelling: str) -> None:
    assert forbids_advice(["steep bank", spelling])
    assert means_power_line(spelling)
    found = cautions(hazards=[spelling])
    assert next(iter(found)) == "overhead_power_line"
    assert "noted_hazard" not in found


@pytest.mark.parametrize(
    "kind", ["wasps' nest", "undercut bank", "falling branches", "steep bank, see note", ""]
)
def test_a_hazard_of_any_other_wording_forbids_advice(kind: str) -> None:
    assert forbids_advice(["steep bank", kind])
    assert not means_power_line(kind)


def test_a_few_kinds_only_caution() -> None:
    assert not forbids_advice([])
    assert not forbids_advice(["Steep  Bank", "deep margin", "SLIPPERY platform", "submerged snag"])
    assert not any(means_power_line(kind) for kind in HAZARDS_THAT_ONLY_CAUTION)


def test_a_hazard_without_a_sentence_of_its_own_is_still_named() -> None:
    assert "wasps' nest" in cautions(hazards=["Wasps' nest"])["noted_hazard"].sentence


def test_two_bank_hazards_are_one_caution() -> None:
    found = cautions(hazards=["steep bank", "deep margin"])
    assert list(found) == ["steep_or_deep", "local_close_season", "lead_weights"]


@pytest.mark.parametrize(
    ("force", "code"),
    [(5, None), (6, "strong_wind"), (7, "strong_wind"), (8, "gale"), (12, "gale"), (None, None)],
)
def test_wind_is_cautioned_by_force(force: int | None, code: str | None) -> None:
    assert {"strong_wind", "gale"}.intersection(cautions(wind_force=force)) == ({code} if code else set())


@pytest.mark.parametrize(("temperature", "warned"), [(19.9, False), (20.0, True), (None, False)])
def test_warm_water_is_cautioned_from_20_degrees(temperature: float | None, warned: bool) -> None:
    assert ("warm_water" in cautions(water_temperature_c=temperature)) is warned


def test_a_pole_brings_the_caution_about_lightning() -> None:
    assert "lightning_and_carbon" in cautions(longest_pole_m=11.5)


@pytest.mark.parametrize(
    ("on", "temperature", "warned"),
    [
        (date(2024, 1, 5), None, True),
        (date(2024, 12, 1), 8.0, True),
        (date(2024, 11, 30), 2.0, True),
        (date(2024, 11, 30), 2.1, False),
    ],
)
def test_ice_is_cautioned_in_winter_and_in_near_freezing_water(
    on: date, temperature: float | None, warned: bool
) -> None:
    assert ("ice" in cautions(on=on, water_temperature_c=temperature)) is warned


@pytest.mark.parametrize(
    ("on", "month", "code"),
    [
        (date(2024, 3, 15), None, "close_season"),
        (date(2024, 3, 14), None, None),
        (date(2024, 3, 14), 5, None),
        (None, 3, "close_season_in_part"),
        (None, 5, "close_season"),
        (None, 6, "close_season_in_part"),
        (None, 7, None),
        (None, None, "close_season"),
    ],
)
def test_the_close_season_of_a_river_goes_by_date_or_else_by_month(
    on: date | None, month: int | None, code: str | None
) -> None:
    found = cautions(water_kind="river", on=on, month=month)
    assert {"close_season", "close_season_in_part"}.intersection(found) == ({code} if code else set())
    assert "local_close_season" not in found


def test_every_caution_defers_to_those_who_decide() -> None:
    found: dict[str, Caution] = {}
    for force in (6, 8):
        for kind in ("river", "canal"):
            found |= cautions(
                water_kind=kind,
                on=None,
                wind_force=force,
                water_temperature_c=25.0,
                hazards=["overhead power line", "steep bank", "wasps' nest"],
                longest_pole_m=13.0,
            )
    assert len(found) == 11
    for caution in found.values():
        assert "byelaw" in caution.sentence or "fishery" in caution.sentence, caution.code


def test_an_unknown_kind_of_water_is_refused() -> None:
    with pytest.raises(ValueError, match="stillwater"):
        cautions(water_kind="reservoir")


@pytest.mark.parametrize(("tow", "warned"), [("strong", True), ("steady", False), ("", False)])
def test_a_strong_tow_is_cautioned(tow: str, warned: bool) -> None:
    assert ("strong_tow" in cautions(tow=tow)) is warned
