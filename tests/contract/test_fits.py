"""What the service shows of a fit, against what the statistics found."""

import dataclasses
import hashlib
import re
from base64 import b64encode
from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from analytics.catchrate.calibration import BlankShare, Calibration, Coverage, ForecastClass
from analytics.catchrate.check import Check, Diagnosis, Influence, MonthOfBlanks, Wall
from analytics.catchrate.clusters import Mean
from analytics.catchrate.estimates import Component, Dropped
from analytics.catchrate.offset import EffortExponent
from analytics.catchrate.residuals import Flatness
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.validation import Comparison, MethodScore, Validation
from analytics.catchrate.verdict import HELD, NO_BETTER
from analytics.models import FitRun
from analytics.store import load_fit
from api.serializers import fits, validation
from clubdata.models import Account, Job, JobKind, Member
from tests.contract.routes import StockedClub, stock
from tests.factories import SmallClub

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture
def other_stocked(other_club: SmallClub) -> StockedClub:
    return stock(other_club)


@pytest.fixture
def shown(fitted: StockedClub, client_for: ClientFor) -> dict[str, Any]:
    client = client_for(fitted.small.account("analyst"))
    run: dict[str, Any] = client.get(f"/api/v1/clubs/heron-small/fits/{fitted.fit.uid}/").json()["run"]
    return run


@pytest.mark.parametrize(
    ("serializer", "found"),
    [
        (fits.CheckSerializer, Check),
        (fits.MonthOfBlanksSerializer, MonthOfBlanks),
        (validation.ValidationSerializer, Validation),
        (validation.MethodScoreSerializer, MethodScore),
        (validation.ComparisonSerializer, Comparison),
        (validation.MeanSerializer, Mean),
        (validation.CalibrationSerializer, Calibration),
        (validation.CoverageSerializer, Coverage),
        (validation.ForecastClassSerializer, ForecastClass),
        (validation.BlankShareSerializer, BlankShare),
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


def test_the_verdict_and_what_it_rests_on_are_shown(shown: dict[str, Any]) -> None:
    run = FitRun.objects.get()
    assert (shown["verdict"], shown["verdict_reason"]) == (run.verdict, run.verdict_reason)
    assert run.verdict == HELD and shown["promoted"]
    assert shown["validation"] == run.check_report["validation"]
    assert shown["validation"]["scores"][0]["method"] == "catch model"


def test_a_run_that_nothing_was_held_against_says_so_instead(
    fitted: StockedClub, client_for: ClientFor
) -> None:
    run = FitRun.objects.get()
    few = {"code": "too_few_to_validate", "message": "14 returns", "needed": 20}
    FitRun.objects.update(check_report=run.check_report | {"validation": few})
    client = client_for(fitted.small.account("analyst"))
    assert client.get(f"/api/v1/clubs/heron-small/fits/{fitted.fit.uid}/").json()["run"]["validation"] is None
    assert client.get(address(fitted)).status_code == 200


def test_single_returns_are_named_to_the_analyst_alone(
    fitted: StockedClub, client_for: ClientFor, shown: dict[str, Any]
) -> None:
    uids = [item["uid"] for item in shown["diagnosis"]["influential"]]
    assert len(uids) == 10
    for role in ("organiser", "secretary"):
        client = client_for(fitted.small.account(role))
        detail = client.get(f"/api/v1/clubs/heron-small/fits/{fitted.fit.uid}/").json()["run"]
        assert detail["diagnosis"]["influential"] is None
        page = client.get(address(fitted)).content.decode()
        assert not any(uid in page for uid in uids)
    page = client_for(fitted.small.account("analyst")).get(address(fitted)).content.decode()
    assert all(uid in page for uid in uids)


def address(stocked: StockedClub) -> str:
    return f"/api/v1/clubs/{stocked.small.club.slug}/fits/{stocked.fit.uid}/report/"


@pytest.fixture
def page(fitted: StockedClub, client_for: ClientFor) -> Any:
    response = client_for(fitted.small.account("analyst")).get(
        address(fitted), headers={"Accept": "text/html,application/xhtml+xml"}
    )
    assert response.status_code == 200
    assert response["Content-Type"].startswith("text/html")
    return response


def test_the_page_needs_nothing_from_outside_and_its_policy_lets_nothing_else_in(page: Any) -> None:
    text = page.content.decode()
    sources = re.findall(r'(?:src|srcset|href)="([^"]*)"', text)
    assert sources and all(source.startswith("data:image/svg+xml;base64,") for source in sources)
    assert "<script" not in text and " style=" not in text and "@import" not in text
    (style,) = re.findall(r"<style>(.*?)</style>", text, flags=re.DOTALL)
    digest = b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = page["Content-Security-Policy"]
    assert f"style-src 'sha256-{digest}'" in policy and "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_the_page_tells_what_the_run_holds(page: Any) -> None:
    text = page.content.decode()
    run = FitRun.objects.get()
    for told in (str(run.uid), run.fingerprint, run.versions["numpy"], "hook bait in this month"):
        assert told in text
    assert "It held on unseen days" in text
    assert "not proof" in text and "A catch rate is not stock size" in text
    for method in ("water mean", "peg and month mean", "plain GLM"):
        assert method in text
    assert text.count("<figure>") == 3


def test_the_page_names_no_person(fitted: StockedClub, client_for: ClientFor) -> None:
    members = list(Member.objects.filter(club__slug="heron-small"))
    for place, member in enumerate(members):
        member.name, member.number = f"Wilhelmina Brook {place}", f"Nr-{place}-777"
        member.save()
    text = client_for(fitted.small.account("analyst")).get(address(fitted)).content.decode()
    assert len(members) >= 4 and "Wilhelmina" not in text and "-777" not in text
    assert not any(member.uid.hex in text or str(member.uid) in text for member in members)


def test_what_a_club_calls_itself_is_text_on_the_page(fitted: StockedClub, client_for: ClientFor) -> None:
    club = fitted.small.club
    club.name = "<script>alert(1)</script> & friends"
    club.save()
    text = client_for(fitted.small.account("analyst")).get(address(fitted)).content.decode()
    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; friends" in text


def test_a_fit_that_was_kept_says_why_and_that_another_serves(
    fitted: StockedClub, client_for: ClientFor
) -> None:
    FitRun.objects.update(verdict=NO_BETTER, verdict_reason="It forecasts worse than <water mean>.")
    text = client_for(fitted.small.account("organiser")).get(address(fitted)).content.decode()
    assert "Kept, not served. It forecasts worse than &lt;water mean&gt;." in text
    assert 'class="verdict kept"' in text


def test_the_page_is_for_those_who_may_look_into_a_fit(
    fitted: StockedClub, other_stocked: StockedClub, client_for: ClientFor
) -> None:
    member = client_for(fitted.small.account("member"))
    detail = address(fitted).removesuffix("report/")
    assert member.get(address(fitted)).status_code == member.get(detail).status_code == 403
    assert client_for(None).get(address(fitted)).status_code == 401
    stranger = client_for(other_stocked.small.account("secretary"))
    assert stranger.get(address(fitted)).status_code == 404
    under_own = address(fitted).replace("heron-small", "grebe-small")
    answers = [
        stranger.get(under_own),
        stranger.get(under_own.replace(str(fitted.fit.uid), str(other_stocked.small.mere.uid))),
    ]
    assert [answer.status_code for answer in answers] == [404, 404]
    assert answers[0].content == answers[1].content


def test_a_fit_without_a_run_has_no_page(fitted: StockedClub, client_for: ClientFor) -> None:
    FitRun.objects.all().delete()
    assert fitted.fit.kind == JobKind.FIT and Job.objects.filter(pk=fitted.fit.pk).exists()
    response = client_for(fitted.small.account("analyst")).get(address(fitted))
    assert response.status_code == 409
    assert response["Content-Type"].startswith("application/problem+json")
