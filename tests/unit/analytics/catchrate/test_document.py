import json
from typing import Any

import numpy as np
import pytest

from analytics.catchrate.__main__ import chosen_spec
from analytics.catchrate.document import DocumentProblem, FitDocument, read_document, refusal_to_json
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.predict import Questions, expectation
from analytics.catchrate.spec import DidNotWeigh
from tests.simulation.club import simulate_club

SPEC = chosen_spec(1.5, DidNotWeigh.LEFT_OUT)


@pytest.fixture(scope="module")
def estimates() -> Estimates:
    found = fit_catch(simulate_club(5, 800, pegs=12, anglers=12).frame, SPEC)
    assert isinstance(found, Estimates)
    return found


@pytest.fixture(scope="module")
def text(estimates: Estimates) -> str:
    return FitDocument(estimates, SPEC, {"1": "Mere"}, ("bound_g",)).to_json()


@pytest.fixture(scope="module")
def document(text: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(text)
    return found


def _term(document: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(item for item in document["terms"] if item["name"] == name)
    return found


def test_a_fit_comes_back_from_its_document_to_the_last_bit(text: str, estimates: Estimates) -> None:
    found, homes = read_document(text)
    assert found.to_document() == estimates.to_document()
    np.testing.assert_array_equal(found.covariance_factor, estimates.covariance_factor)
    assert homes == {"1": "Mere"}


def test_the_document_says_what_was_fitted_and_how_it_ended(
    document: dict[str, Any], estimates: Estimates
) -> None:
    assert (document["p"], document["p_se"]) == (1.5, None)
    assert document["phi"] == estimates.dispersion
    assert document["gradient"] < SPEC.tolerance and document["converged"]
    assert document["iterations"] > 1 and document["seconds"] > 0
    assert document["rows"]["used"] + sum(document["rows"]["left_out"].values()) == 800
    assert set(document["versions"]) == {"python", "numpy", "scipy", "pandas", "pyarrow"}
    assert document["spec"]["power"] == 1.5
    assert not any(term.get("nuisance") for term in document["spec"]["terms"])


def test_every_term_tells_its_kind(document: dict[str, Any]) -> None:
    kinds = {item["name"]: item["kind"] for item in document["terms"]}
    assert kinds["wind"] == "fixed effect"
    assert kinds["angler"] == "random effect"
    assert kinds["peg"] == "random effect with neighbours"
    assert kinds["season"] == "cyclic P-spline"
    assert kinds["distance"] == "P-spline"
    assert kinds["season_distance"] == "tensor product of P-splines"


def test_every_level_has_its_estimate_and_error(document: dict[str, Any], estimates: Estimates) -> None:
    angler, found = _term(document, "angler"), estimates.term("angler")
    assert found is not None
    told = zip(
        angler["levels"], zip(angler["estimates"], angler["standard_errors"], strict=True), strict=True
    )
    assert dict(told) == found.effects()
    variance = angler["variances"][0]
    assert variance["variance"] * variance["smoothing_parameter"] == pytest.approx(1)
    assert variance["boundary"] == "inside" and variance["log_smoothing_parameter_se"] > 0


def test_an_answer_moves_along_a_curve_as_its_grid_does() -> None:
    found = fit_catch(simulate_club(5, 800, pegs=12, anglers=12).frame)
    assert isinstance(found, Estimates)
    grid = _term(json.loads(FitDocument(found, SPEC, {}).to_json()), "water_temperature")["grid"]
    answers = expectation(found, Questions(month=6, water_temperature_c=grid["water_temperature_c"])).eta
    assert np.ptp(grid["estimate"]) > 0.05
    np.testing.assert_allclose(np.diff(answers), np.diff(grid["estimate"]), atol=1e-10)


def test_a_curves_errors_are_those_of_its_coefficients(
    document: dict[str, Any], estimates: Estimates
) -> None:
    item = estimates.term("distance")
    assert item is not None and item.start is not None
    grid = _term(document, "distance")["grid"]
    rows = item.term.encode({"distance_m": np.array(grid["distance_m"])}).spread(np.eye(item.term.size))
    covariance = (estimates.covariance_factor @ estimates.covariance_factor.T)[
        item.start : item.start + item.term.size, item.start : item.start + item.term.size
    ]
    errors = np.sqrt(np.diag(rows @ covariance @ rows.T))
    np.testing.assert_allclose(grid["standard_error"], errors, rtol=1e-10)


def test_a_surface_spans_both_of_its_features(document: dict[str, Any]) -> None:
    grid = _term(document, "season_distance")["grid"]
    corners = set(zip(grid["day_of_year"], grid["distance_m"], strict=True))
    assert (
        len(corners) == len(grid["estimate"]) == len(set(grid["day_of_year"])) * len(set(grid["distance_m"]))
    )


def test_a_refusal_is_a_document_too() -> None:
    text = refusal_to_json(Refusal("too_few_returns", "12 returns; 60 are needed", 60))
    told = json.loads(text)
    assert (told["code"], told["needed"]) == ("too_few_returns", 60)
    with pytest.raises(DocumentProblem, match="a refusal: 12 returns; 60 are needed"):
        read_document(text)


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: "no JSON",
        lambda text: "[]",
        lambda text: text.replace("version 1", "version 0"),
        lambda text: text.replace('"base64": "', '"base64": "AAAA'),
        lambda text: text.replace('"home_waters"', '"waters"'),
        lambda text: text.replace('"intercept": ', '"intercept": 1e999, "was": '),
    ],
)
def test_a_document_that_holds_no_fit_is_refused(text: str, damage: Any) -> None:
    with pytest.raises(DocumentProblem):
        read_document(damage(text))
