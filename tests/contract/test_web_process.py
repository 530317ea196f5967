"""The web process answers everything without a fitting library."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
FITTING = ("pandas", "scipy", "statsmodels")
MOST_MEMORY_MB = 200

STOCK = """
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.contract.fitted import stock_and_fit
from tests.factories import make_small_club
stocked = stock_and_fit(make_small_club("heron-small"))
import json
from datetime import timedelta
from django.utils import timezone
from clubdata.services.accounts import issue_token
from tests.contract.routes import READS
_, key = issue_token(
    account=stocked.small.account("secretary"), device="test", now=timezone.now(), lifetime=timedelta(hours=1)
)
print(json.dumps({"key": key, "asked": [[stocked.address(read.path), read.query] for read in READS]}))
"""

SERVE = """
import json, sys
from api.wsgi import application  # the web server's own door
from django.test import Client
import psutil
given = json.load(sys.stdin)
client = Client(headers={"Authorization": f"Bearer {given['key']}"})
open_to_all = ("/health/ready", "/api/schema/", "/api/docs/", "/admin/login/")
asked = [*given["asked"], *([path, {}] for path in open_to_all)]
status = {path: client.get(path, query).status_code for path, query in asked}
advice = client.get(*next(one for one in asked if one[0].endswith("/advice/"))).json()
print(json.dumps({
    "status": status,
    "choices": len(advice["choices"]),
    "loaded": sorted({name.partition(".")[0] for name in sys.modules}),
    "memory_mb": psutil.Process().memory_info().rss / 2**20,
}))
"""


def run(script: str, given: str, environment: dict[str, str]) -> str:
    done = subprocess.run(
        [sys.executable, "-c", script],
        input=given,
        capture_output=True,
        text=True,
        env=environment,
        timeout=120,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()[-1]


def test_every_answer_without_a_fitting_library(tmp_path: Path) -> None:
    environment = {
        **{name: value for name, value in os.environ.items() if name != "DATABASE_URL"},
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "CLUBDATA_VAR": str(tmp_path),
        "CLUBDATA_LOG_LEVEL": "ERROR",
        "PYTHONPATH": ".",
    }
    given = run(STOCK, "", environment)
    found = json.loads(run(SERVE, given, environment))
    assert set(found["status"].values()) == {200}, found["status"]
    assert found["choices"] == 2
    assert {"django", "numpy", "rest_framework"} <= set(found["loaded"])
    assert not set(FITTING) & set(found["loaded"])
    assert found["memory_mb"] < MOST_MEMORY_MB, found["memory_mb"]
