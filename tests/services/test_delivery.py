"""What the broker does to a message never shows: the job's row is the truth."""

import signal

import pytest

from clubdata.demo.files import RETURNS_FILE
from tests.services.stage import Stage, pool_of, wait_for, worker_of

pytestmark = pytest.mark.slow


def test_a_message_delivered_twice_is_one_attempt(stage: Stage) -> None:
    office = stage.office()
    office("open_club")
    job_id = office("want_import", sheet=str(RETURNS_FILE))
    office("ring", job_id=job_id, times=3)
    stage.start("-m", "analytics.worker")
    job = wait_for(lambda: ended(office("job", job_id=job_id)), what="the import's end")
    assert (job["state"], job["attempt"]) == ("finished", 1)
    assert office("counts")["returns"] == job["result"]["landed"] > 0


def test_a_job_whose_message_was_lost_is_found_by_the_worker_when_it_starts(stage: Stage) -> None:
    office = stage.office()
    office("open_club")
    job_id = office("want_import", sheet=str(RETURNS_FILE))
    stage.start("-m", "analytics.worker")
    job = wait_for(lambda: ended(office("job", job_id=job_id)), what="the import's end")
    assert job["state"] == "finished"


def test_a_late_attempt_changes_nothing(stage: Stage) -> None:
    office = stage.office()
    office("open_club")
    slow = stage.start("-m", "analytics.worker")
    pool = pool_of(wait_for(lambda: worker_of(slow), what="the first worker"))
    assert pool is not None
    job_id = office("want_import", sheet=str(RETURNS_FILE))
    office("ring", job_id=job_id)
    assert office("freeze_in", kind="import", pid=pool.pid, patience_s=30)

    stage.start("-m", "analytics.worker")
    stage.start("-m", "analytics.worker", "schedule")
    job = wait_for(lambda: ended(office("job", job_id=job_id)), what="the second attempt's end")
    assert (job["state"], job["attempt"]) == ("finished", 2)
    counted = office("counts")

    pool.send_signal(signal.SIGCONT)
    # Stopped inside a transaction, it finds on PostgreSQL that the server has let go of its session.
    given_up = ("job lost to a later attempt", "job left to its lease")
    wait_for(
        lambda: any(said in stage.log_of(slow) for said in given_up), what="the first attempt's giving up"
    )
    assert office("job", job_id=job_id) == job
    assert office("counts") == counted


def ended(job: dict[str, object]) -> dict[str, object] | None:
    return job if job["state"] in {"finished", "refused", "failed"} else None
