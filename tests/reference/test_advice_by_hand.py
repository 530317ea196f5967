"""Advice worked out again from the rows of the database, by NumPy and no code of this project.

Each term's rows of the design come from what was stored of it: the place of a level, or cubic B-splines by
their truncated powers (de Boor 1978, A Practical Guide to Splines, ch. IX), centred, in Helmert's contrasts.
Expected weight: exp(x'b) times the hours and the lognormal means of anglers and match days; its intervals
from x'FF'x.
"""

import io
import json
from datetime import date
from math import comb
from typing import Any

import numpy as np
import pytest
from django.db import connection
from scipy.stats import norm

from analytics.answers.advice import advise
from analytics.answers.question import AdviceQuestion
from tests.simulation.club import simulate_club
from tests.simulation.stored import StoredClub, fit_now, store_club

pytestmark = pytest.mark.django_db


def rows(query: str, *values: Any) -> list[dict[str, Any]]:
    with connection.cursor() as cursor:
        cursor.execute(query, values)
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def splines(margin: dict[str, Any], value: float) -> np.ndarray:
    spec, size = margin["spec"], margin["spec"]["size"]
    value = np.round(value / spec["resolution"]) * spec["resolution"]
    places = np.arange(size)
    if spec["period"]:
        at = (value % spec["period"] / spec["period"] * size - places) % size
    else:
        span = margin["upper"] - margin["lower"]
        at = (np.clip(value, margin["lower"], margin["upper"]) - margin["lower"]) / span * (size - 3)
        at = at - places + 3
    powers = [(-1) ** j * comb(4, j) * np.maximum(at - j, 0) ** 3 for j in range(5)]
    basis = np.where((at >= 0) & (at <= 4), sum(powers) / 6, 0.0) - margin["centre"]
    contrasts = np.triu(np.ones((size, size)), 1)[:, 1:] - np.diag(np.arange(size))[:, 1:]
    return basis @ (contrasts / np.linalg.norm(contrasts, axis=0))


def log_mean(asked: dict[str, Any], hours: float) -> tuple[float, float]:
    """The log expected weight and its standard error."""
    (run,) = rows("SELECT id, intercept, covariance FROM analytics_fitrun WHERE promoted")
    factor = np.load(io.BytesIO(bytes(run["covariance"])), allow_pickle=False)
    x, b = np.zeros(len(factor)), np.zeros(len(factor))
    x[0], b[0], averaged = 1.0, run["intercept"], 0.0
    for term in rows("SELECT * FROM analytics_fitterm WHERE run_id = %s", run["id"]):
        found = rows(
            "SELECT * FROM analytics_fitcoefficient WHERE term_id = %s ORDER BY position", term["id"]
        )
        if term["name"] in {"angler", "match_day"}:
            averaged += term["prior_sd"] ** 2 / 2
        if term["first_column"] is None:
            continue
        here = slice(term["first_column"], term["first_column"] + len(found))
        b[here] = [row["estimate"] for row in found]
        learned = term["learned"] if isinstance(term["learned"], dict) else json.loads(term["learned"])
        if term["name"] == "angler":
            x[here] = 1 / len(found)
        elif term["kind"] == "smooth":
            curves = [splines(margin, asked[margin["spec"]["feature"]]) for margin in learned["margins"]]
            x[here] = np.outer(curves[0], curves[1]).ravel() if len(curves) == 2 else curves[0]
        else:
            x[here] = [row["level"] == asked[learned["spec"]["feature"]] for row in found]
    return np.log(hours) + x @ b + averaged, float(np.linalg.norm(x @ factor))


@pytest.fixture
def club() -> StoredClub:
    frame = simulate_club(seed=7, returns=700, pegs=12, anglers=12, waters=2, years=3).frame
    stored = store_club("heron-small", frame)
    fit_now(stored.club)
    return stored


def test_expected_weights_and_intervals_are_those_of_the_stored_rows(club: StoredClub) -> None:
    water, peg = club.waters["water 0"].uid.hex, club.pegs["peg 02"].uid.hex
    (run,) = rows("SELECT reference FROM analytics_fitrun WHERE promoted")
    usual = run["reference"] if isinstance(run["reference"], dict) else json.loads(run["reference"])
    asked = {
        "water": water,
        "peg": peg,
        "session_kind": "match",
        "year": usual["year"],
        "wind": usual["wind"],
    }
    asked |= {"water_year": f"{water}/{usual['year']}", "distance_missing": "recorded"}
    asked |= {"water_temperature_missing": "recorded"}
    month = {"water_temperature_c": usual["water_temperature_by_month"][8], "day_of_year": 258}
    day = {"water_temperature_c": 14.0, "day_of_year": 252, "wind": "4-5"}
    for question, conditions in (
        ({"month": 9}, month),
        ({"on": date(2023, 9, 9), "water_temperature_c": 14.0, "wind_force": "F5"}, day),
    ):
        told = AdviceQuestion(water="water 0", peg="peg 02", hours=6.5, **question)
        advice = advise(club=club.club, question=told, today=date(2024, 6, 1))
        assert len(advice.choices) > 3
        for choice in advice.choices:
            bait = choice.hook_bait.uid.hex
            chosen = {"hook_bait": bait, "hook_bait_month": f"{bait}/09", "distance_m": choice.distance_m}
            chosen |= {"rig_type": choice.rig_type.uid.hex}
            middle, error = log_mean({**asked, **conditions, **chosen}, 6.5)
            ends = np.exp(norm.ppf([0.05, 0.25, 0.5, 0.75, 0.95], middle, error))
            found = [choice.lower_g, choice.lower_50_g, choice.expected_g, choice.upper_50_g, choice.upper_g]
            assert found == pytest.approx(list(ends), rel=1e-9)
