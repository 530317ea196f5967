"""The command `import_returns`: what an operator sees, and the exit status."""

import json
import os
import subprocess
import sys
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.management import CommandError, call_command

from clubdata.models import Club, Job, Return
from tests.unit.clubdata.intake.sheets import DESCRIPTION, as_text, row, small_club

pytestmark = pytest.mark.django_db


@pytest.fixture
def club(settings: Any, tmp_path: Path) -> Club:
    settings.UPLOAD_DIR = tmp_path / "uploads"
    return small_club()


def sheet(tmp_path: Path, *rows: dict[str, str]) -> str:
    path = tmp_path / "sheet.csv"
    path.write_text(as_text(*rows))
    return str(path)


def called(*arguments: str) -> str:
    out = StringIO()
    call_command("import_returns", *arguments, stdout=out)
    return out.getvalue()


def test_the_summary_counts_and_shows_the_first_problems(club: Club, tmp_path: Path) -> None:
    told = called(sheet(tmp_path, row(), *(row(peg=f"9{n}") for n in range(12))), "--club", "alder")
    assert "landed                1" in told
    assert "line 3, Peg: '90': this water has no peg 90; the nearest label is 12A" in told
    assert "and 2 more problems" in told
    assert Return.objects.filter(club=club).count() == 1


def test_the_report_is_written_as_json(club: Club, tmp_path: Path) -> None:
    report = tmp_path / "report.json"
    called(sheet(tmp_path, row(), row()), "--club", "alder", "--report", str(report))
    told = json.loads(report.read_text())
    assert (told["rows_read"], told["landed"], told["duplicates"]) == (2, 1, 1)
    assert {"refused", "blanks", "did_not_weigh", "estimated", "created", "problems"} <= told.keys()


def test_a_dry_run_says_so_and_writes_nothing(club: Club, tmp_path: Path) -> None:
    told = called(sheet(tmp_path, row()), "--club", "alder", "--dry-run")
    assert told.startswith("Dry run: nothing was written.")
    assert not Return.objects.exists() and not Job.objects.exists()
    assert not (tmp_path / "uploads").exists()


@pytest.mark.parametrize("dry_run", [[], ["--dry-run"]])
def test_a_file_that_cannot_be_taken_is_refused_in_one_sentence(
    club: Club, tmp_path: Path, dry_run: list[str]
) -> None:
    with pytest.raises(CommandError, match="no club 'nowhere'"):
        called(sheet(tmp_path, row()), "--club", "nowhere", *dry_run)
    with pytest.raises(CommandError, match="no such file"):
        called(str(tmp_path / "gone.csv"), "--club", "alder", *dry_run)
    (tmp_path / "sheet.csv").write_text("Date,Peg\n")
    with pytest.raises(CommandError, match="lacks the required columns Water, Member, Hours, Weight"):
        called(str(tmp_path / "sheet.csv"), "--club", "alder", *dry_run)


def on_a_new_machine(tmp_path: Path, *command: str) -> subprocess.CompletedProcess[str]:
    home = Path(django_settings.BASE_DIR)
    told = {
        name: value for name, value in os.environ.items() if not name.startswith(("CLUBDATA", "DATABASE"))
    }
    told |= {"CLUBDATA_VAR": str(tmp_path / "var"), "CLUBDATA_DEMO": "1"}
    told["DJANGO_SETTINGS_MODULE"] = "clubdata.settings"
    return subprocess.run(
        [sys.executable, str(home / "manage.py"), *command],
        env=told, cwd=home, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def test_a_new_machine_has_no_club_until_it_is_set_up_and_then_imports(tmp_path: Path) -> None:
    path, description = sheet(tmp_path, row()), tmp_path / "club.json"
    description.write_text(json.dumps(DESCRIPTION))
    wanted = ("import_returns", path, "--club", "alder")
    early = on_a_new_machine(tmp_path, *wanted)
    assert (early.returncode, early.stderr.strip()) == (1, "CommandError: There is no club 'alder'.")
    made = on_a_new_machine(tmp_path, "setup_club", str(description))
    assert (made.returncode, "pegs: 4 new" in made.stdout) == (0, True), made.stderr
    assert "landed                1" in on_a_new_machine(tmp_path, *wanted).stdout


def test_a_sheet_with_nothing_new_is_no_failure(club: Club, tmp_path: Path) -> None:
    path = sheet(tmp_path, row())
    called(path, "--club", "alder")
    assert "duplicates            1" in called(path, "--club", "alder")
