"""A water's standardised month worked out again from the database's rows, by NumPy, SciPy's own splines and
none of our code; only the club itself is made, and its answer asked, with ours."""

import io
import json
from typing import Any

import numpy as np
import pytest
from django.db import connection
from scipy.interpolate import BSpline
from scipy.linalg import helmert

from analytics.answers.trends import TrendQuestion, trends
from tests.simulation.club import simulate_club
from tests.simulation.stored import StoredClub, fit_now, store_club

pytestmark = pytest.mark.django_db
MONTH, MID_JULY = 7, 197.0
Row = dict[str, Any]


def ask(sql: str, *given: Any) -> list[Row]:
    with connection.cursor() as cursor:
        cursor.execute(sql, given)
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def by_hand(run: Row, water: str) -> tuple[float, float]:
    """The log of grams a rod-hour in July of the reference year, and its standard error."""
    reference, series = json.loads(run["reference"]), json.loads(run["observed"])["series"]
    terms = {row["name"]: row for row in ask("SELECT * FROM analytics_fitterm WHERE run_id = %s", run["id"])}
    used: dict[str, float] = {}
    for key, returns, *_ in series["rates"]["all"]["bait_month"][""]:
        used[key[:32]] = used.get(key[:32], 0.0) + returns / sum(
            row[1] for row in series["rates"]["all"]["bait_month"][""]
        )
    pegs = series["pegs"][water]
    weights = {
        "water": {water: 1.0},
        "water_year": {f"{water}/{reference['year']}": 1.0},
        "peg": dict.fromkeys(pegs, 1.0 / len(pegs)),
        "hook_bait": used,
        "hook_bait_month": {f"{bait}/{MONTH:02d}": share for bait, share in used.items()},
    }
    smooths = {"season": MID_JULY, "water_temperature": reference["water_temperature_by_month"][MONTH - 1]}
    x, log, averaged = np.zeros(run["covariance_size"]), run["intercept"], 0.0
    x[0] = 1.0
    for name, term in terms.items():
        rows = ask("SELECT * FROM analytics_fitcoefficient WHERE term_id = %s ORDER BY position", term["id"])
        own = np.array([weights.get(name, {}).get(row["level"], 0.0) for row in rows])
        if name in smooths:
            own = spline(json.loads(term["learned"])["margins"][0], smooths[name])
        if name == "angler":
            own = np.full(len(rows), 1.0 / len(rows))
        if name == "angler" or (name == "match_day" and reference["session_kind"] == "match"):
            averaged += 0.5 * term["prior_sd"] ** 2
        if term["first_column"] is not None:
            x[term["first_column"] : term["first_column"] + len(own)] = own
            log += own @ np.array([row["estimate"] for row in rows])
    factor = np.load(io.BytesIO(bytes(run["covariance"])))
    return float(log + averaged), float(np.linalg.norm(x @ factor))


def spline(margin: Row, value: float) -> np.ndarray:
    """A row of SciPy's cubic B-splines on equal knots, centred, by SciPy's own Helmert contrasts."""
    spec, size = margin["spec"], margin["spec"]["size"]
    value = round(value / spec["resolution"]) * spec["resolution"]
    bump = BSpline.basis_element(np.arange(5.0), extrapolate=False)
    if spec["period"] is not None:
        place = np.mod(value / spec["period"] * size - np.arange(size), size)
    else:
        inside = min(max(value, margin["lower"]), margin["upper"]) - margin["lower"]
        place = inside / (margin["upper"] - margin["lower"]) * (size - 3) - np.arange(size) + 3.0
    return (np.nan_to_num(bump(place)) - margin["centre"]) @ helmert(size).T


@pytest.fixture
def club() -> StoredClub:
    frame = simulate_club(seed=7, returns=700, pegs=12, anglers=12, waters=2, years=3).frame
    stored = store_club("heron-small", frame)
    fit_now(stored.club)
    return stored


def test_a_waters_july_with_its_interval(club: StoredClub) -> None:
    run = ask("SELECT * FROM analytics_fitrun WHERE promoted")[0]
    for water in club.waters.values():
        question = TrendQuestion(by="month", water=water.uid)
        answer = trends(club=club.club, question=question, sees_all=True)
        log, error = by_hand(run, water.uid.hex)
        july = answer.points[MONTH - 1].standardised
        assert july is not None
        stated = [july.lower_90, july.lower_50, july.estimate, july.upper_50, july.upper_90]
        reach = np.array(
            [-1.6448536269514722, -0.6744897501960817, 0.0, 0.6744897501960817, 1.6448536269514722]
        )
        np.testing.assert_allclose(stated, np.exp(log + reach * error), rtol=1e-9)
