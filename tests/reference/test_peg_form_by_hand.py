"""Peg form worked out again from the rows of the database, by NumPy and SciPy and no code of this project.

Multiplier: exp of the peg's coefficient less the mean of the water's. Its interval: the normal distribution
of that contrast under the stored joint covariance FF'. 'Better than': an orthant of that normal, which is
the cumulative distribution of the difference.
"""

import io
from datetime import date

import numpy as np
import pytest
from django.db import connection
from scipy.stats import norm

from analytics.answers.peg_form import PegFormQuestion, peg_form
from analytics.answers.peg_pair import peg_pair
from tests.simulation.club import simulate_club
from tests.simulation.stored import StoredClub, fit_now, store_club

pytestmark = pytest.mark.django_db


def from_the_rows(water: str) -> tuple[list[str], np.ndarray, np.ndarray]:
    """Labels, coefficients and joint covariance of a water's pegs, by SQL."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT p.label, p.uid, c.estimate, t.first_column + c.position, r.covariance "
            "FROM analytics_fitcoefficient c JOIN analytics_fitterm t ON t.id = c.term_id AND t.name = 'peg' "
            "JOIN analytics_fitrun r ON r.id = t.run_id AND r.promoted "
            "JOIN clubdata_peg p ON p.club_id = r.club_id "
            "AND REPLACE(CAST(p.uid AS TEXT), '-', '') = c.level "
            "JOIN clubdata_water w ON w.id = p.water_id WHERE w.name = %s ORDER BY p.bank_order",
            [water],
        )
        rows = cursor.fetchall()
    factor = np.load(io.BytesIO(bytes(rows[0][4])), allow_pickle=False)
    pegs = factor[[row[3] for row in rows]]
    return [row[0] for row in rows], np.array([row[2] for row in rows]), pegs @ pegs.T


@pytest.fixture
def club() -> StoredClub:
    frame = simulate_club(seed=7, returns=700, pegs=12, anglers=12, waters=2, years=3).frame
    stored = store_club("heron-small", frame)
    fit_now(stored.club)
    return stored


def test_multiplier_interval_and_chance_are_those_of_the_stored_rows(club: StoredClub) -> None:
    water, today = club.waters["water 0"].uid, date(2024, 6, 1)
    form = peg_form(club=club.club, question=PegFormQuestion(water=water), today=today, sees_all=True)
    labels, effects, covariance = from_the_rows("water 0")
    assert labels == [item.peg.label for item in form.pegs] and len(labels) == 6
    for place, item in enumerate(form.pegs):
        weights = np.eye(6)[place] - 1 / 6
        middle, error = weights @ effects, np.sqrt(weights @ covariance @ weights)
        ends = np.exp(norm.ppf([0.05, 0.25, 0.75, 0.95], middle, error))
        at = item.standing
        assert [at.lower_90, at.lower_50, at.upper_50, at.upper_90] == pytest.approx(list(ends), rel=1e-9)
        assert at.multiplier == pytest.approx(np.exp(middle), rel=1e-12)
        assert at.chance_above_middle == pytest.approx(norm.sf(0, middle, error), rel=1e-9)
    pair = peg_pair(club=club.club, water=water, first="peg 01", second="peg 04", today=today, sees_all=True)
    one, two = labels.index("peg 01"), labels.index("peg 04")
    error = np.sqrt(covariance[one, one] + covariance[two, two] - 2 * covariance[one, two])
    assert pair.comparison is not None
    chance = norm.cdf((effects[one] - effects[two]) / error)
    assert pair.comparison.chance_first_better == pytest.approx(chance, rel=1e-9)


def test_ranks_are_those_of_draws_of_the_stored_normal(club: StoredClub) -> None:
    question = PegFormQuestion(water=club.waters["water 0"].uid)
    form = peg_form(club=club.club, question=question, today=date(2024, 6, 1), sees_all=True)
    _, effects, covariance = from_the_rows("water 0")
    draws = np.random.default_rng(2024).multivariate_normal(effects, covariance, 50_000)
    ranks = 1 + np.sum(draws[:, :, None] < draws[:, None, :], axis=2)
    for place, item in enumerate(form.pegs):
        assert item.standing.expected_rank == pytest.approx(ranks[:, place].mean(), abs=0.1)
        assert item.standing.chance_top_quarter == pytest.approx(np.mean(ranks[:, place] <= 2), abs=0.035)
