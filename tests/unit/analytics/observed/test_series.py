"""Raw series of a club: each figure by hand, or by another route."""

import json
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from analytics.catchrate.effort import mean_of_ratios, ratio_of_means
from analytics.frames import load_frame
from analytics.observed.series import ALL, COLUMNS, MATCH, observe_series
from analytics.observed.sessions import CLUB
from clubdata.models import CatchLine, Conditions, Member, Outcome, SessionKind
from tests.factories import SmallClub, make_match, make_member, make_return
from tests.unit.analytics.conftest import StoredClub


def observed(club: Any) -> dict[str, Any]:
    return observe_series(load_frame(club=club), None)  # type: ignore[arg-type]


def figures(series: dict[str, Any], kind: str, name: str, water: str, key: str) -> dict[str, Any]:
    rows = {row[0]: row for row in series["rates"][kind][name][water]}
    return dict(zip(COLUMNS, rows[key], strict=True))


def test_every_months_rate_is_the_published_estimator_of_its_sessions(stored_club: StoredClub) -> None:
    series = observed(stored_club.club)
    frame = stored_club.frame
    for water, record in [(None, None), *stored_club.waters.items()]:
        of_water = frame if water is None else frame[frame["water"] == water]
        for month, part in of_water.groupby(of_water["fished_on"].dt.month):
            code = CLUB if record is None else record.uid.hex
            found = figures(series, ALL, "month", code, f"{month:02d}")
            catch, hours = part["weight_g"].to_numpy(float), part["hours"].to_numpy(float)
            ratio, mean = ratio_of_means(catch, hours), mean_of_ratios(catch, hours)
            assert found["ratio"] == pytest.approx(ratio.estimate, rel=1e-12)
            assert found["ratio_se"] == pytest.approx(ratio.standard_error, rel=1e-9)
            assert found["mean_of_ratios"] == pytest.approx(mean.estimate, rel=1e-12)
            assert found["mean_of_ratios_se"] == pytest.approx(mean.standard_error, rel=1e-9)
            assert (found["returns"], found["anglers"]) == (len(part), part["angler"].nunique())
            assert found["blanks"] == int((part["weight_g"] == 0).sum())
            assert (found["weight_g"], found["rod_hours"]) == pytest.approx((catch.sum(), hours.sum()))


def test_every_series_counts_each_session_once_and_waters_add_up(stored_club: StoredClub) -> None:
    series = observed(stored_club.club)
    recorded = {
        "all": len(stored_club.frame),
        "month": len(stored_club.frame),
        "year": len(stored_club.frame),
        "year_month": len(stored_club.frame),
        "bait_month": int(stored_club.frame["hook_bait"].notna().sum()),
        "distance_season": int(stored_club.frame["distance_m"].notna().sum()),
        "temperature": int(stored_club.frame["water_temperature_c"].notna().sum()),
    }
    for name, by_water in series["rates"][ALL].items():
        sums = {water: sum(row[1] for row in rows) for water, rows in by_water.items()}
        assert sums.pop(CLUB) == recorded[name] == sum(sums.values()), name


def test_the_figures_are_json_and_name_nobody(stored_club: StoredClub) -> None:
    text = json.dumps(observed(stored_club.club), allow_nan=False)
    assert not any(member.uid.hex in text or str(member.uid) in text for member in Member.objects.all())


def fished(small: SmallClub, member: Member, **changes: Any) -> Any:
    return make_return(member, small.pegs["1"], fished_on=date(2024, 7, 3), **changes)


def test_what_is_not_known_is_no_zero(heron_small: SmallClub) -> None:
    """1 kg in 5 h, a blank in 5 h, over 3 kg in 10 h; one that did not weigh and one only counted beside."""
    small = heron_small
    weighed = {"weight_g": 1000}
    fished(small, small.member, **weighed)
    fished(small, small.member, outcome=Outcome.BLANK)
    fished(small, small.other_member, outcome=Outcome.OVER_NET_LIMIT, weight_g=3000, hours=Decimal(10))
    fished(small, small.other_member, outcome=Outcome.DID_NOT_WEIGH)
    fished(small, small.organiser, outcome=Outcome.COUNTED_ONLY)
    fished(small, small.analyst, outcome=Outcome.DID_NOT_FISH, hours=None)
    found = figures(observed(small.club), ALL, "year", CLUB, "2024")
    told = {name: found[name] for name in ("returns", "anglers", "blanks", "did_not_weigh", "at_least")}
    assert told == {"returns": 5, "anglers": 3, "blanks": 1, "did_not_weigh": 1, "at_least": 2}
    assert (found["weight_g"], found["rod_hours"], found["ratio"]) == (4000.0, 20.0, 200.0)


def test_matches_stand_apart_and_a_bait_and_a_distance_are_those_fished_longest(
    heron_small: SmallClub,
) -> None:
    small = heron_small
    match = make_match(small.mere, held_on=date(2024, 7, 3))
    part = {"hook_bait": small.caster, "distance_m": Decimal("5.5"), "hours": Decimal(1)}
    session = fished(small, small.member, session_kind=SessionKind.MATCH, match=match, part=part)
    longest = {"hook_bait": small.red_maggot, "distance_m": Decimal("12.0"), "hours": Decimal(4)}
    session.parts.create(club=small.club, part_order=2, **longest)
    Conditions.objects.create(club=small.club, session=session, water_temperature_c="17.9")
    fished(small, small.member)
    rates = observed(small.club)["rates"]
    assert [row[:2] for row in rates[MATCH]["year"][CLUB]] == [["2024", 1]]
    assert [row[:2] for row in rates[ALL]["year"][CLUB]] == [["2024", 2]]
    assert [row[0] for row in rates[ALL]["bait_month"][CLUB]] == [f"{small.red_maggot.uid.hex}/07"]
    assert [row[0] for row in rates[ALL]["distance_season"][CLUB]] == ["12/summer"]
    assert [row[0] for row in rates[ALL]["temperature"][CLUB]] == ["16"]


def test_compliance_counts_those_on_the_books_and_not_fishing_is_an_answer(heron_small: SmallClub) -> None:
    small = heron_small
    Member.objects.filter(club=small.club).update(joined_on=date(2020, 1, 1))
    make_member(small.club, "early", left_on=date(2024, 7, 1))
    make_member(small.club, "late", joined_on=date(2024, 8, 1))
    fished(small, small.member)
    fished(small, small.member)
    fished(small, small.other_member, outcome=Outcome.DID_NOT_FISH, hours=None)
    gone = make_member(small.club, "gone", left_on=date(2024, 1, 1))
    fished(small, gone)
    compliance = observed(small.club)["compliance"]
    row = dict(zip(compliance["columns"], compliance["rows"][0], strict=True))
    assert row == {"month": "2024-07", "on_the_books": 5, "handed_in": 2, "did_not_fish": 1, "withheld": True}


def test_a_month_without_a_return_has_no_compliance_but_its_row(heron_small: SmallClub) -> None:
    make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2024, 1, 3))
    make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2024, 3, 3))
    rows = observed(heron_small.club)["compliance"]["rows"]
    assert [row[:1] + row[2:4] for row in rows] == [["2024-01", 1, 0], ["2024-02", 0, 0], ["2024-03", 1, 0]]


def test_effort_is_rod_hours_by_month_and_kind_weighed_or_not(heron_small: SmallClub) -> None:
    small = heron_small
    fished(small, small.member, hours=Decimal("4.5"), rods=2)
    fished(small, small.other_member, outcome=Outcome.DID_NOT_WEIGH, session_kind=SessionKind.MATCH)
    effort = observed(small.club)["effort"]
    expected = [["2024-07", "pleasure", 1, 1, 9.0, True], ["2024-07", "match", 1, 1, 5.0, True]]
    assert effort["rows"][CLUB] == expected == effort["rows"][small.mere.uid.hex]


def lines(session: Any, **by_species: Any) -> None:
    for species, weight_g in by_species.values():
        CatchLine.objects.create(
            club=session.club, session=session, species=species, weight_g=weight_g, fish_count=2
        )


def test_composition_counts_weight_fish_and_how_many_returns_tell(heron_small: SmallClub) -> None:
    small = heron_small
    lines(fished(small, small.member, weight_g=1000), a=(small.roach, 700), b=(small.bream, 290))
    lines(fished(small, small.other_member, weight_g=2000), a=(small.roach, 900))
    lines(fished(small, small.organiser, weight_g=500), a=(small.bream, None))
    fished(small, small.analyst)
    fished(small, small.analyst, outcome=Outcome.BLANK)
    species = observed(small.club)["species"]
    rows = {(row[0], row[1]): row[2:] for row in species["rows"][CLUB]}
    assert rows["", small.roach.uid.hex] == ["silvers", 2, 2, 1600.0, 4, True]
    assert rows["2024", small.bream.uid.hex] == ["", 2, 2, 290.0, 4, True]
    assert species["told"][CLUB] == [["", 4, 3, 1, True], ["2024", 4, 3, 1, True]]


def test_figures_of_few_anglers_are_marked_and_none_follows_by_subtraction(stored_club: StoredClub) -> None:
    series = observed(stored_club.club)
    at = {name: place for place, name in enumerate(COLUMNS)}
    for name, by_water in series["rates"][ALL].items():
        for rows in by_water.values():
            assert all(row[at["withheld"]] for row in rows if row[at["anglers"]] < 5), name
        by_key: dict[str, list[bool]] = {}
        for water, rows in by_water.items():
            for row in rows:
                by_key.setdefault(row[0], []).append(bool(row[at["withheld"]]))
            hidden = [row[at["withheld"]] for row in rows]
            if name in {"month", "year"}:
                assert sum(hidden) != 1 or len(rows) == 1, (name, water)
        assert all(sum(hidden) != 1 or len(hidden) == 1 for hidden in by_key.values()), name
    assert np.any([row[at["withheld"]] for row in series["rates"][ALL]["year_month"][CLUB]])
