"""What a log line carries, and what it never does."""

import json
import logging

import pytest
from django.test import Client

from clubdata.logs import JsonFormatter
from tests.factories import SmallClub


def line_of(**extra: object) -> dict[str, object]:
    record = logging.makeLogRecord({"name": "clubdata", "msg": "stored", "levelname": "INFO", **extra})
    written: dict[str, object] = json.loads(JsonFormatter().format(record))
    return written


def test_ids_are_carried_and_nothing_else_that_was_handed_over() -> None:
    line = line_of(job_uid="j1", run_uid="r1", member_name="somebody", token="secret")
    assert line["job_uid"] == "j1"
    assert line["run_uid"] == "r1"
    assert "somebody" not in json.dumps(line)
    assert "secret" not in json.dumps(line)


def test_an_exception_says_what_and_where_but_not_its_words() -> None:
    try:
        raise ValueError("Key (name)=(somebody) already exists")
    except ValueError as raised:
        line = line_of(exc_info=(type(raised), raised, raised.__traceback__))
    assert "ValueError" in json.dumps(line)
    assert "test_logs.py" in json.dumps(line)
    assert "somebody" not in json.dumps(line)


@pytest.mark.django_db
def test_a_request_is_logged_by_its_route_and_not_by_its_path(
    client: Client, heron_small: SmallClub, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        client.get(f"/api/v1/clubs/{heron_small.club.slug}/returns/?water=x")
        client.get("/api/v1/clubs/somebody-elses/nowhere/")
    said = "\n".join(JsonFormatter().format(record) for record in caplog.records)
    assert "api/v1/clubs/<slug:slug>/returns/" in said
    assert heron_small.club.slug not in said
    assert "somebody-elses" not in said


@pytest.mark.django_db
def test_a_defect_is_logged_with_its_route_and_frames(
    client: Client, heron_small: SmallClub, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object, **__: object) -> None:
        raise RuntimeError("somebody's name")

    client.raise_request_exception = False
    monkeypatch.setattr("api.views.health.JsonResponse", break_down)
    with caplog.at_level(logging.INFO):
        assert client.get("/health/live").status_code == 500
    said = "\n".join(JsonFormatter().format(record) for record in caplog.records)
    assert "RuntimeError" in said
    assert "somebody" not in said
