"""Ringing the bell: light, by name, and never the member's trouble."""

import logging
import subprocess
import sys

import pytest

from analytics.worker import dispatch
from analytics.worker.app import app

HEAVY = ("analytics.worker.tasks", "analytics.runs", "pandas", "scipy", "statsmodels", "numpy")


@pytest.fixture
def in_files(tmp_path, monkeypatch):  # type: ignore[no-untyped-def]
    """The file-system broker in a folder of the test's own."""
    names = ("data_folder_in", "data_folder_out", "control_folder")
    monkeypatch.setitem(app.conf, "broker_url", "filesystem://localhost//")
    monkeypatch.setitem(app.conf, "broker_transport_options", dict.fromkeys(names, str(tmp_path)))
    return tmp_path


def test_a_ring_is_one_whole_message_with_the_jobs_id_alone(in_files) -> None:  # type: ignore[no-untyped-def]
    dispatch.ring(job_id=17)
    (file,) = in_files.glob("*.clubdata.msg")
    assert '"task": "clubdata.run_job"' in file.read_text()
    with app.connection_for_read() as connection:
        message = connection.SimpleQueue(dispatch.QUEUE).get(timeout=2)
        body, options, _ = message.payload
        message.ack()
    assert (body, options) == ([], {"job_id": 17})
    assert list(in_files.glob("*.msg")) == []


def test_a_broker_that_is_away_is_a_line_in_the_log(in_files, caplog) -> None:  # type: ignore[no-untyped-def]
    app.conf["broker_url"] = "redis://127.0.0.1:1/0"
    app.conf["broker_transport_options"] = {"socket_connect_timeout": 1}
    with caplog.at_level(logging.WARNING, logger="analytics.worker.dispatch"):
        dispatch.ring(job_id=17)
    assert "the broker is away" in caplog.text


def test_whoever_rings_loads_neither_tasks_nor_models() -> None:
    script = (
        "import sys, django; django.setup(); import analytics.worker.dispatch; "
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"
