"""One Idempotency-Key at two web processes at once, on PostgreSQL."""

import json
import threading
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from tests.services.stage import Stage, free_port, wait_for

KEYS = 12
BODY = {"water": "Heron Mere", "peg": "14", "fished_on": "2024-06-16", "hours": 5, "weight": "12lb 8oz"}


def start_web(stage: Stage) -> str:
    port = free_port()
    stage.environ["CLUBDATA_BIND"] = f"127.0.0.1:{port}"
    stage.start("-m", "gunicorn", "--config", "api/server.py", "api.wsgi:application")
    address = f"http://127.0.0.1:{port}"

    def lives() -> bool:
        try:
            with urllib.request.urlopen(f"{address}/health/live", timeout=5) as response:  # noqa: S310
                return bool(response.status == 200)
        except OSError:
            return False

    wait_for(lives, what="a web process")
    return address


def post(address: str, token: str, key: str) -> tuple[int, Any]:
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    request = urllib.request.Request(  # noqa: S310
        f"{address}/api/v1/clubs/heron/returns/",
        headers={**headers, "Idempotency-Key": f'"{key}"'},
        data=json.dumps(BODY).encode(),
    )
    try:
        with urllib.request.urlopen(request, timeout=30) as response:  # noqa: S310
            return response.status, json.load(response)
    except urllib.error.HTTPError as error:
        return error.code, json.load(error)


def all_at_once(addresses: list[str], token: str, *, key: str) -> list[tuple[int, Any]]:
    gate = threading.Barrier(len(addresses))

    def send(address: str) -> tuple[int, Any]:
        gate.wait()
        return post(address, token, key)

    with ThreadPoolExecutor(len(addresses)) as pool:
        return list(pool.map(send, addresses))


@pytest.mark.slow
@pytest.mark.postgresql
@pytest.mark.redis
def test_two_processes_with_one_key_at_once_keep_one_return_and_answer_the_same(servers: Stage) -> None:
    office = servers.office()
    office("open_club")
    token = office("sign_in_with_every_role")
    addresses = [start_web(servers), start_web(servers)]
    for number in range(KEYS):
        answers = all_at_once(addresses * 2, token, key=f"k-{number}")
        kept = [body for status, body in answers if status == 201]
        assert len(answers) == 4
        assert {status for status, _ in answers} <= {201, 409}
        assert kept and all(body == kept[0] for body in kept)
    assert office("counts")["returns"] == KEYS
