"""What the service shows of a fit, against what the statistics found."""

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from analytics.catchrate.check import Check, Diagnosis, Influence, Wall
from analytics.catchrate.estimates import Component, Dropped
from analytics.catchrate.offset import EffortExponent
from analytics.catchrate.residuals import Flatness
from analytics.catchrate.spec import CatchSpec
from analytics.models import FitRun
from analytics.store import load_fit
from api.serializers import fits
from clubdata.models import Account
from tests.contract.routes import StockedClub

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture
def shown(fitted: StockedClub, client_for: ClientFor) -> dict[str, Any]:
    client = client_for(fitted.small.account("analyst"))
    run: dict[str, Any] = client.get(f"/api/v1/clubs/heron-small/fits/{fitted.fit.uid}/").json()["run"]
    return run


@pytest.mark.parametrize(
    ("serializer", "found"),
    [
        (fits.CheckSerializer, Check),
        (fits.EffortExponentSerializer, EffortExponent),
        (fits.DiagnosisSerializer, Diagnosis),
        (fits.FlatnessSerializer, Flatness),
        (fits.WallSerializer, Wall),
        (fits.ComponentSerializer, Component),
        (fits.DroppedSerializer, Dropped),
    ],
)
def test_nothing_of_what_was_found_is_withheld(serializer: Any, found: Any) -> None:
    assert set(serializer().fields) == {field.name for field in dataclasses.fields(found)}


def test_a_return_that_pulls_hard_is_named_by_its_public_id_instead_of_its_place() -> None:
    names = {field.name for field in dataclasses.fields(Influence)}
    assert set(fits.InfluenceSerializer().fields) == names - {"position"} | {"uid"}


def test_variances_are_shown_with_their_boundaries_and_power_with_its_error(shown: dict[str, Any]) -> None:
    estimates = load_fit(FitRun.objects.get()).estimates
    for name in ("power", "power_se", "dispersion", "estimated_dispersion", "criterion", "did_not_weigh"):
        assert shown[name] == getattr(estimates, name), name
    variances = {term["name"]: term["components"] for term in shown["terms"]}
    assert variances == {
        item.name: [dataclasses.asdict(component) for component in item.components]
        for item in estimates.terms
    }
    assert variances["hook_bait"][0]["boundary"] in {"inside", "at zero", "unbounded"}
    assert {item["name"] for item in shown["dropped"]} == {item.name for item in estimates.dropped}


def test_the_check_and_the_diagnosis_are_shown_whole(shown: dict[str, Any]) -> None:
    report = FitRun.objects.get().check_report
    assert shown["check"] == report["check"]
    assert shown["diagnosis"] == report["diagnosis"]
    assert shown["check"]["returns"] == shown["rows_used"]


def test_the_treatment_of_those_who_did_not_weigh_is_shown(shown: dict[str, Any]) -> None:
    assert shown["did_not_weigh"] == CatchSpec().did_not_weigh
    assert (shown["bounded"], shown["estimated"], shown["several_parts"]) == (0, 0, 0)
    assert shown["warm_from"] is None
