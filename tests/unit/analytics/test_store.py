"""Estimates to rows and back, and what the door refuses."""

import dataclasses
import hashlib
import io
from copy import copy
from datetime import timedelta

import numpy as np
import pytest
from django.db import DataError, IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from analytics import store
from analytics.catchrate.estimates import Estimates, TermEstimate
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.spec import Line
from analytics.catchrate.terms import LearnedLine
from analytics.catchrate.verdict import HELD, Verdict
from analytics.frames import load_frame
from analytics.models import FitCoefficient, FitRun, FitTerm
from analytics.requests import request_fit
from analytics.store import CACHED_RUNS, DamagedFit, Fitted, load_fit, promoted_run, store_fit
from clubdata.models import Club, Job, JobState
from clubdata.services import jobs
from tests.factories import make_club
from tests.unit.analytics.conftest import NOW, StoredClub, fit_now


def claimed(club: Club) -> jobs.Claim:
    claim = jobs.claim(job_id=request_fit(club=club, actor=None, now=NOW).pk, now=NOW)
    assert claim is not None
    return claim


def fitted(estimates: Estimates) -> Fitted:
    return Fitted(
        estimates=estimates,
        revision=1,
        fingerprint="ab" * 32,
        support={"choices": [], "bait_month": [], "bait_peg": []},
        spec={},
        versions={},
        check_report={},
        observed={},
        verdict=Verdict(HELD, ""),
    )


@pytest.fixture
def stored_club(stored_of_module: StoredClub, db: None) -> StoredClub:
    return dataclasses.replace(stored_of_module, club=copy(stored_of_module.club))


@pytest.fixture
def estimates(fitted_club: StoredClub) -> Estimates:
    run = promoted_run(club=fitted_club.club)
    assert run is not None
    return load_fit(run).estimates


def test_what_comes_back_is_what_was_stored_to_the_last_bit(
    stored_club: StoredClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[Fitted] = []
    real = store.store_fit

    def watched(**values: object) -> FitRun:
        kept.append(values["fitted"])  # type: ignore[arg-type]
        return real(**values)  # type: ignore[arg-type]

    monkeypatch.setattr("analytics.runs.store_fit", watched)
    loaded = load_fit(fit_now(stored_club.club))
    assert loaded.estimates.to_document() == kept[0].estimates.to_document()
    assert np.array_equal(loaded.estimates.covariance_factor, kept[0].estimates.covariance_factor)


def test_every_level_is_a_row_under_its_public_id(fitted_club: StoredClub) -> None:
    baits = FitCoefficient.objects.filter(term__name="hook_bait").values_list("level", flat=True)
    assert set(baits) == {bait.uid.hex for bait in fitted_club.baits.values()}
    stored = " ".join(FitCoefficient.objects.values_list("level", flat=True))
    assert "angler" not in stored and "maggot" not in stored


@pytest.mark.parametrize("wrong", [float("nan"), float("inf"), -float("inf")])
def test_a_number_that_is_not_finite_is_refused_at_the_door(estimates: Estimates, wrong: float) -> None:
    claim = claimed(make_club("other"))
    first, *others = estimates.terms
    broken = dataclasses.replace(first, estimates=(wrong, *first.estimates[1:]))
    bad = dataclasses.replace(estimates, terms=(broken, *others))
    with pytest.raises(ValueError, match="not finite"):
        store_fit(claim=claim, now=NOW, fitted=fitted(bad))
    assert FitRun.objects.count() == 1
    assert Job.objects.get(pk=claim.job_id).state == JobState.RUNNING


@pytest.mark.parametrize("wrong", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("field", ["estimate", "standard_error"])
def test_the_database_itself_refuses_a_coefficient_that_is_not_finite(
    fitted_club: StoredClub, field: str, wrong: float
) -> None:
    row = FitCoefficient.objects.order_by("pk").first()
    assert row is not None
    with pytest.raises((IntegrityError, DataError)), transaction.atomic():
        FitCoefficient.objects.filter(pk=row.pk).update(**{field: wrong})


@pytest.mark.parametrize("wrong", [float("nan"), float("inf")])
@pytest.mark.parametrize(
    "field", ["dispersion", "estimated_dispersion", "criterion", "deviance", "edf", "intercept"]
)
def test_the_database_itself_refuses_a_run_that_is_not_finite(
    fitted_club: StoredClub, field: str, wrong: float
) -> None:
    with pytest.raises((IntegrityError, DataError)), transaction.atomic():
        FitRun.objects.update(**{field: wrong})


def test_a_power_se_is_unknown_or_a_number_above_zero(fitted_club: StoredClub) -> None:
    FitRun.objects.update(power_se=None)
    for wrong in (0.0, -1.0, float("inf")):
        with pytest.raises((IntegrityError, DataError)), transaction.atomic():
            FitRun.objects.update(power_se=wrong)


def test_every_estimated_variance_is_kept_with_its_uncertainty_and_boundary(estimates: Estimates) -> None:
    peg = FitTerm.objects.get(name="peg")
    assert [item["name"] for item in peg.components] == ["levels", "along the bank"]
    for term in FitTerm.objects.all():
        for item in term.components:
            assert item["log_precision"] == pytest.approx(-2.0 * np.log(item["sd"]))
            assert (item["log_precision_se"] is None) <= (item["boundary"] != "inside")
    found = estimates.term("peg")
    assert found is not None
    assert [dataclasses.asdict(item) for item in found.components] == peg.components


def test_a_variance_that_is_not_finite_is_refused_at_the_door(estimates: Estimates) -> None:
    claim = claimed(make_club("other"))
    first, *others = (item for item in estimates.terms if item.components)
    wrong = dataclasses.replace(first.components[0], log_precision_se=float("nan"))
    bad = dataclasses.replace(first, components=(wrong,))
    rest = [bad if item.name == first.name else item for item in estimates.terms]
    assert others
    with pytest.raises(ValueError, match="not finite"):
        store_fit(claim=claim, now=NOW, fitted=fitted(dataclasses.replace(estimates, terms=tuple(rest))))


def test_a_line_is_stored_as_one_and_comes_back(estimates: Estimates) -> None:
    """The club's own model has none: log hours as a line tests that effort's coefficient is one."""
    effort = TermEstimate(
        LearnedLine(Line("effort", "log_hours"), mean=1.5), (0.25,), (0.125,), 0.75, 2.0, None
    )
    with_line = dataclasses.replace(estimates, terms=(*estimates.terms, effort))
    claim = claimed(make_club("other"))
    run = store_fit(claim=claim, now=NOW, fitted=fitted(with_line))
    assert FitTerm.objects.get(run=run, name="effort").kind == "line"
    assert load_fit(run).estimates.to_document() == with_line.to_document()


def test_a_fit_of_another_format_is_no_fit_to_read(fitted_club: StoredClub) -> None:
    FitRun.objects.update(format=1)
    with pytest.raises(DamagedFit):
        load_fit(FitRun.objects.get())
    assert promoted_run(club=fitted_club.club) is None


def test_a_fit_from_the_store_starts_the_next_as_the_one_in_memory_does(
    stored_club: StoredClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[Fitted] = []
    real = store.store_fit
    monkeypatch.setattr(
        "analytics.runs.store_fit", lambda **values: kept.append(values["fitted"]) or real(**values)
    )
    loaded = load_fit(fit_now(stored_club.club)).estimates
    frame = load_frame(club=stored_club.club).frame
    one, other = (fit_catch(frame, warm=warm) for warm in (kept[0].estimates, loaded))
    assert isinstance(one, Estimates) and isinstance(other, Estimates)
    assert np.array_equal(one.covariance_factor, other.covariance_factor)
    assert [item.estimates for item in one.terms] == [item.estimates for item in other.terms]


def test_a_changed_byte_of_the_covariance_is_found(fitted_club: StoredClub) -> None:
    run = FitRun.objects.get()
    raw = bytearray(run.covariance)
    raw[-1] ^= 1
    FitRun.objects.update(covariance=bytes(raw))
    with pytest.raises(DamagedFit, match="digest"):
        load_fit(run)


def damaged(raw: bytes, **values: object) -> FitRun:
    """A covariance replaced together with its digest."""
    FitRun.objects.update(covariance=raw, covariance_sha256=hashlib.sha256(raw).hexdigest(), **values)
    return FitRun.objects.get()


def npy(array: np.ndarray) -> bytes:
    buffer = io.BytesIO()
    np.save(buffer, array, allow_pickle=True)
    return buffer.getvalue()


def test_a_pickle_is_never_opened(fitted_club: StoredClub) -> None:
    with pytest.raises(DamagedFit, match="no array"):
        load_fit(damaged(npy(np.array([{"a": 1}], dtype=object))))


def test_another_shape_or_type_is_found(fitted_club: StoredClub) -> None:
    size = FitRun.objects.get().covariance_size
    for raw in (npy(np.zeros((3, 3))), npy(np.zeros((size, size), dtype=np.float32))):
        with pytest.raises(DamagedFit, match="shape or type"):
            load_fit(damaged(raw))


def test_a_covariance_with_a_nan_is_found(fitted_club: StoredClub) -> None:
    size = FitRun.objects.get().covariance_size
    with pytest.raises(DamagedFit):
        load_fit(damaged(npy(np.full((size, size), np.nan))))


def test_a_missing_coefficient_is_found(fitted_club: StoredClub) -> None:
    row = FitCoefficient.objects.filter(term__name="peg").first()
    assert row is not None
    row.delete()
    with pytest.raises(DamagedFit):
        load_fit(FitRun.objects.get())


def test_a_run_is_read_once_a_process(fitted_club: StoredClub) -> None:
    run = FitRun.objects.get()
    with CaptureQueriesContext(connection) as queries:
        first = load_fit(run)
    assert len(queries) == 3
    with CaptureQueriesContext(connection) as queries:
        assert load_fit(run) is first
    assert len(queries) == 0


def test_the_cache_is_bounded(estimates: Estimates) -> None:
    for number in range(CACHED_RUNS + 2):
        claim = claimed(make_club(f"club-{number}"))
        load_fit(store_fit(claim=claim, now=NOW + timedelta(days=number), fitted=fitted(estimates)))
    assert len(store._cache) == CACHED_RUNS


def test_an_attempt_that_lost_its_lease_stores_nothing(estimates: Estimates) -> None:
    claim = claimed(make_club("other"))
    Job.objects.filter(pk=claim.job_id).update(attempt=2)
    with pytest.raises(jobs.LeaseLost):
        store_fit(claim=claim, now=NOW, fitted=fitted(estimates))
    assert FitRun.objects.count() == 1


def test_a_club_serves_one_run(fitted_club: StoredClub) -> None:
    fit_now(fitted_club.club)
    assert FitRun.objects.filter(promoted=True).count() == 1
    with pytest.raises(IntegrityError), transaction.atomic():
        FitRun.objects.update(promoted=True, promoted_at=NOW)


def test_a_run_of_earlier_returns_does_not_take_the_place_of_a_later_one(estimates: Estimates) -> None:
    club = make_club("other")
    later, earlier = claimed(club), claimed(club)
    store_fit(claim=later, now=NOW, fitted=dataclasses.replace(fitted(estimates), revision=2))
    store_fit(claim=earlier, now=NOW, fitted=fitted(estimates))
    assert FitRun.objects.get(club=club, promoted=True).revision == 2


def test_a_promoted_run_says_when(fitted_club: StoredClub) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        FitRun.objects.update(promoted_at=None)


@pytest.mark.parametrize("model", [FitRun, FitTerm, FitCoefficient])
def test_a_row_cannot_move_to_another_club(fitted_club: StoredClub, model: type[FitRun]) -> None:
    other = make_club("other")
    row = model.objects.order_by("pk").first()
    assert row is not None

    def move() -> None:
        model.objects.filter(pk=row.pk).update(club=other)
        connection.check_constraints()

    with pytest.raises(IntegrityError), transaction.atomic():
        move()
