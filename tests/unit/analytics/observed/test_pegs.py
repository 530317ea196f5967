"""Raw figures of pegs, against the simulated rows counted by pandas."""

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch
from analytics.frames import load_frame
from analytics.observed.columns import ALL_YEAR, COLUMNS, PARTS
from analytics.observed.pegs import observe_pegs
from clubdata.models import Outcome, Return
from clubdata.rules.season import season_of
from tests.unit.analytics.conftest import StoredClub


@pytest.fixture
def estimates(stored_club: StoredClub) -> Estimates:
    found = fit_catch(load_frame(club=stored_club.club).frame)
    assert isinstance(found, Estimates)
    return found


def observed(stored: StoredClub, estimates: Estimates) -> dict[str, Any]:
    found = observe_pegs(load_frame(club=stored.club), estimates)
    again: dict[str, Any] = json.loads(json.dumps(found, allow_nan=False))
    assert again == found
    return found


def row(found: dict[str, Any], peg: str, group: str, period: str) -> dict[str, float]:
    return dict(zip(found["columns"], found["pegs"][peg][group][period], strict=True))


def by_peg(stored: StoredClub) -> dict[str, pd.DataFrame]:
    """The invented rows by their peg's public id; weights are stored in whole grams."""
    rows = stored.frame.assign(weight_g=stored.frame["weight_g"].astype(int))
    return {stored.pegs[str(name)].uid.hex: part for name, part in rows.groupby("peg", observed=True)}


def counted(rows: pd.DataFrame) -> dict[str, float]:
    return {
        "returns": len(rows),
        "blanks": int((rows["weight_g"] == 0).sum()),
        "matches": int(rows["is_match"].sum()),
        "anglers": rows["angler"].nunique(),
        "hours": rows["hours"].sum(),
        "weight_g": rows["weight_g"].sum(),
    }


def test_counts_and_sums_are_those_of_the_returns(stored_club: StoredClub, estimates: Estimates) -> None:
    found = observed(stored_club, estimates)
    assert found["columns"] == list(COLUMNS)
    for peg, rows in by_peg(stored_club).items():
        months = rows["fished_on"].dt.month
        parts = [("periods", ALL_YEAR, rows)]
        parts += [("periods", str(month), rows[months == month]) for month in months.unique()]
        parts += [
            ("periods", season, rows[months.map(season_of) == season])
            for season in months.map(season_of).unique()
        ]
        years = rows["fished_on"].dt.year
        parts += [("years", str(year), rows[years == year]) for year in years.unique()]
        for group, period, part in parts:
            told = row(found, peg, group, period)
            assert {name: told[name] for name in counted(part)} == pytest.approx(counted(part), rel=1e-6)
        assert len(found["pegs"][peg]["periods"]) + len(found["pegs"][peg]["years"]) == len(parts)


def test_who_sat_there_is_the_mean_effect_of_its_anglers_by_hours(
    stored_club: StoredClub, estimates: Estimates
) -> None:
    found = observed(stored_club, estimates)
    anglers = estimates.term("angler")
    assert anglers is not None
    effects = {level: estimate for level, (estimate, _) in anglers.effects().items()}
    for peg, rows in by_peg(stored_club).items():
        by_row = rows["angler"].map(lambda name: effects[stored_club.members[name].uid.hex])
        told = row(found, peg, "periods", ALL_YEAR)
        assert told["who"] == pytest.approx(float((by_row * rows["hours"]).sum()), rel=1e-5, abs=1e-5)


def test_effects_and_intercept_make_the_fitted_weight_where_nothing_varies(
    stored_club: StoredClub, estimates: Estimates
) -> None:
    """Jensen's inequality: the log of a mean of rates is no less than the mean of their logs."""
    found = observed(stored_club, estimates)
    pegs, waters = estimates.term("peg"), estimates.term("water")
    assert pegs is not None and waters is not None
    for peg, effect in pegs.effects().items():
        told = row(found, peg, "periods", ALL_YEAR)
        water = next(item.water.uid.hex for item in stored_club.pegs.values() if item.uid.hex == peg)
        logs = estimates.intercept + effect[0] + waters.effects()[water][0]
        logs += sum(told[name] for name in PARTS) / told["hours"]
        gap = np.log(told["fitted_g"] / told["hours"]) - logs
        assert 0.0 <= gap < 0.6, peg


def test_last_days_are_of_returns_of_any_outcome(stored_club: StoredClub, estimates: Estimates) -> None:
    peg = stored_club.peg_of(stored_club.waters["water 0"])
    latest = Return.objects.filter(peg=peg, match__isnull=False).order_by("-fished_on")[0]
    Return.objects.filter(pk=latest.pk).update(
        outcome=Outcome.DID_NOT_WEIGH, weight_g=None, weight_unit="", weight_step=None
    )
    told = observed(stored_club, estimates)["pegs"][peg.uid.hex]
    assert told["last_drawn_on"] == latest.fished_on.isoformat()
    days = Return.objects.filter(peg=peg).order_by("-fished_on").values_list("fished_on", flat=True)
    assert told["last_fished_on"] == days[0].isoformat()


def test_who_drew_a_peg_and_stayed_at_home_drew_it_but_did_not_fish_it(
    stored_club: StoredClub, estimates: Estimates
) -> None:
    peg = stored_club.peg_of(stored_club.waters["water 0"])
    Return.objects.filter(peg=peg).update(
        outcome=Outcome.DID_NOT_FISH, hours=None, weight_g=None, weight_unit="", weight_step=None
    )
    told = observed(stored_club, estimates)["pegs"][peg.uid.hex]
    assert told["last_drawn_on"] is not None
    assert told["last_fished_on"] is None
    assert told["periods"] == {} == told["years"]


def test_no_person_is_named(stored_club: StoredClub, estimates: Estimates) -> None:
    text = json.dumps(observed(stored_club, estimates))
    people = [form for member in stored_club.members.values() for form in (member.uid.hex, str(member.uid))]
    assert people and not [form for form in people if form in text]
