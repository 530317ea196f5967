"""Killed outright in the middle of an import, a fit, a study: one finished job each, going again, no orphan.

The whole demo runs, on files and on servers: it supervises its worker as a service manager would.
"""

import re
import signal
import socket
import urllib.request

import psutil
import pytest

from tests.services.stage import (
    GOING_AGAIN_S,
    Office,
    Stage,
    family,
    free_port,
    living,
    pool_of,
    wait_for,
    worker_of,
)

pytestmark = pytest.mark.slow
WORK_S = 120


def start_demo(stage: Stage) -> psutil.Process:
    return stage.start("manage.py", "demo", "--port", str(free_port()))


def is_ready(stage: Stage, demo: psutil.Process) -> str | None:
    """The address that a ready demo prints; fails when the demo has ended instead."""
    said = stage.log_of(demo)
    assert demo.poll() is None, said
    found = re.search(r"^ready (http://127\.0\.0\.1:\d+/)$", said, re.MULTILINE)
    return found.group(1) if found else None


def kill_in(kind: str, victim: str, stage: Stage, demo: psutil.Process, office: Office) -> psutil.Process:
    """Kill the victim while a job of this kind runs; the demo, started again where it was the victim."""
    worker = wait_for(lambda: worker_of(demo), what="a worker")
    pool = pool_of(worker)
    assert office("freeze_in", kind=kind, pid=pool.pid, patience_s=GOING_AGAIN_S), f"no {kind} ran"
    everyone = family(demo)
    victims = {"worker child": pool, "worker parent": worker, "demo parent": demo}
    victims[victim].kill()
    # The frozen one may die with its parent only once it is awake.
    if pool.is_running():
        pool.send_signal(signal.SIGCONT)
    doomed = {"worker child": [pool], "worker parent": [pool, worker], "demo parent": everyone}[victim]
    wait_for(lambda: not living(doomed), what=f"the end of all that came of the {victim}", patience_s=10)
    return start_demo(stage) if victim == "demo parent" else demo


@pytest.mark.parametrize(
    ("stage", "victims"),
    [
        ("files", {"import": "worker child", "fit": "worker parent", "study": "demo parent"}),
        pytest.param(
            "servers",
            {"import": "demo parent", "fit": "worker child", "study": "worker parent"},
            marks=[pytest.mark.postgresql, pytest.mark.redis],
        ),
    ],
    indirect=["stage"],
)
def test_kills_cost_time_and_nothing_else(stage: Stage, victims: dict[str, str]) -> None:
    office = stage.office()
    office("open_club")
    demo = start_demo(stage)
    for kind, victim in victims.items():
        demo = kill_in(kind, victim, stage, demo, office)
        # Going again in time is promised; how long the work then takes is the machine's.
        wait_for(lambda kind=kind: is_at_its_second(office, kind), what=f"the {kind} going again")
        wait_for(lambda kind=kind: finished(office, kind), what=f"the end of the {kind}", patience_s=WORK_S)
    # Ready is said once the study has followed the fit.
    address = wait_for(lambda: is_ready(stage, demo), what="ready")
    with urllib.request.urlopen(address + "health/ready") as response:  # noqa: S310 - loopback
        assert response.status == 200

    jobs = {job["kind"]: job for job in office("all_jobs")}
    assert len(office("all_jobs")) == 3
    ended = {kind: (job["state"], job["attempt"]) for kind, job in jobs.items()}
    assert ended == {"import": ("finished", 2), "fit": ("finished", 2), "study": ("finished", 2)}
    landed = office("job", job_id=jobs["import"]["id"])["result"]["landed"]
    assert office("counts") == {"returns": landed, "fits": 1}

    everyone = family(demo)
    demo.send_signal(signal.SIGINT)
    assert demo.wait(10) == 0
    assert living(everyone) == []


def test_a_launcher_that_is_killed_takes_the_demo_with_it(files: Stage) -> None:
    files.office()("open_club")
    launcher = files.start("-c", LAUNCH, str(free_port()))
    demo = wait_for(lambda: next(iter(launcher.children()), None), what="the demo")
    wait_for(lambda: worker_of(demo), what="a worker")
    everyone = family(launcher)
    launcher.kill()
    wait_for(lambda: not living(everyone), what="the end of all", patience_s=10)


def test_the_second_of_two_demos_on_one_folder_says_which_is_the_first(files: Stage) -> None:
    first = start_demo(files)
    wait_for(first.children, what="the first demo's children")
    second = start_demo(files)
    assert second.wait(30) == 1
    assert f"process {first.pid}" in files.log_of(second)


def test_a_port_in_use_is_one_sentence(files: Stage) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        demo = files.start("manage.py", "demo", "--port", str(port))
        assert demo.wait(30) == 1
    assert files.log_of(demo).strip() == f"Port {port} is in use: choose another, as in --port {port + 1}."


def is_at_its_second(office: Office, kind: str) -> bool:
    return any(job["kind"] == kind and job["attempt"] == 2 for job in office("all_jobs"))


def finished(office: Office, kind: str) -> bool:
    return any(job["kind"] == kind and job["state"] == "finished" for job in office("all_jobs"))


# Stands for `uv run`: a process of that name, which starts the command and waits.
LAUNCH = """
import pathlib, subprocess, sys
pathlib.Path("/proc/self/comm").write_text("uv")
subprocess.run([sys.executable, "manage.py", "demo", "--port", sys.argv[1]])
"""
