"""What the settings refuse, and where a machine that was told nothing works by itself."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]


def manage(tmp_path: Path, *words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("CLUBDATA_") and name not in {"DATABASE_URL", "DJANGO_SETTINGS_MODULE"}
    }
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=kept | {"CLUBDATA_VAR": str(tmp_path / "var")} | environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    ("environment", "sentence"),
    [
        ({}, "Set CLUBDATA_SECRET"),
        ({"CLUBDATA_SECRET": "x" * 60, "CLUBDATA_DEBUG": "1"}, "for the demo only"),
        ({"CLUBDATA_SECRET": "x" * 60, "CLUBDATA_HOSTS": "*"}, "for the demo only"),
        (
            {"CLUBDATA_DEMO": "1", "CLUBDATA_FORECAST_URL": "http://forecast.example/"},
            "CLUBDATA_FORECAST_URL: ",
        ),
        ({"CLUBDATA_DEMO": "1", "CLUBDATA_KEEP_TOKENS_DAYS": "soon"}, "CLUBDATA_KEEP_TOKENS_DAYS: "),
        ({"CLUBDATA_DEMO": "1", "CLUBDATA_KEEP_REPLIES_DAYS": "0"}, "CLUBDATA_KEEP_REPLIES_DAYS: "),
        ({"CLUBDATA_DEMO": "1", "CLUBDATA_KEEP_SHEETS_DAYS": "1.5"}, "CLUBDATA_KEEP_SHEETS_DAYS: "),
    ],
)
def test_a_server_without_the_demos_switch_is_refused_in_one_line(
    tmp_path: Path, environment: dict[str, str], sentence: str
) -> None:
    ran = manage(tmp_path, "runserver", **environment)
    assert ran.returncode != 0
    assert sentence in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize(
    "address", ["http://forecast.example/", "https://fore cast.example/", "https://forecast.example:port/"]
)
def test_a_forecast_service_that_cannot_be_asked_is_refused_at_the_start(
    tmp_path: Path, address: str
) -> None:
    ran = manage(tmp_path, "check", CLUBDATA_DEMO="1", CLUBDATA_FORECAST_URL=address)
    assert ran.returncode != 0
    assert "CLUBDATA_FORECAST_URL" in ran.stderr and "Traceback" not in ran.stderr


def test_the_operators_commands_need_no_setting_and_keep_their_files_to_their_owner(tmp_path: Path) -> None:
    ran = manage(tmp_path, "migrate", "--check")
    assert "CLUBDATA_SECRET" not in ran.stderr
    assert (tmp_path / "var").stat().st_mode & 0o077 == 0
    assert (tmp_path / "var" / "secret").stat().st_mode & 0o077 == 0


def test_a_deployment_that_sets_what_it_must_is_clean(tmp_path: Path) -> None:
    secret = "".join(chr(33 + number % 90) for number in range(70))
    ran = manage(
        tmp_path,
        "check",
        "--deploy",
        "--fail-level",
        "WARNING",
        CLUBDATA_SECRET=secret,
        CLUBDATA_HOSTS="club.example",
    )
    assert ran.returncode == 0, ran.stderr
