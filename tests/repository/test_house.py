"""The house keeps its own rules: rooms, corridors, drift, and files that speak of the project alone."""

import json
import re
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest
import yaml
from django.core.management import call_command
from jsonschema.validators import validator_for

ROOT = Path(__file__).resolve().parents[2]


def tracked(*patterns: str) -> list[Path]:
    names = subprocess.run(
        ["git", "ls-files", *patterns], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    return [ROOT / name for name in names if (ROOT / name).is_file()]


def test_imports_point_one_way() -> None:
    lint = Path(sys.executable).parent / "lint-imports"
    ran = subprocess.run([str(lint)], cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout


@pytest.mark.django_db
def test_models_and_migrations_agree() -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_the_published_schema_is_the_one_that_the_code_makes(tmp_path: Path) -> None:
    made = tmp_path / "openapi.yaml"
    call_command("spectacular", api_version="v1", file=str(made), validate=True, fail_on_warn=True)
    assert made.read_text() == (ROOT / "docs" / "openapi.yaml").read_text()


def test_packages_execute_nothing_on_import() -> None:
    for path in tracked("*__init__.py"):
        if path.relative_to(ROOT).as_posix() == "clubdata/models/__init__.py":
            continue  # Django finds models by this module
        code = re.sub(r'^\s*""".*?"""\s*', "", path.read_text(), flags=re.DOTALL).strip()
        assert code == "", f"{path.relative_to(ROOT)} executes {code[:60]!r}"


def test_every_source_file_opens_with_what_it_is_for() -> None:
    for path in tracked("clubdata/*.py", "analytics/*.py", "api/*.py"):
        text = path.read_text().strip()
        if text and "migrations" not in path.parts:
            opening = re.sub(r"^#!.*\n", "", text)
            assert opening.startswith('"""'), f"{path.relative_to(ROOT)} has no docstring"


def test_files_stay_readable_in_one_sitting() -> None:
    long = {
        path.relative_to(ROOT).as_posix(): lines
        for path in tracked("clubdata/*.py", "analytics/*.py", "api/*.py")
        if "migrations" not in path.parts and (lines := len(path.read_text().splitlines())) > 360
    }
    assert long == {}


# A path of one developer's machine says where the work was done, not what it is.
MACHINE_PATH = re.compile(r"(?<![\w.:/])/(?:w[o]rk|h[o]me|r[o]ot|U[s]ers)/\w")


def test_no_file_carries_a_path_of_somebodys_machine() -> None:
    found = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path in tracked()
        if path.suffix not in {".csv", ".png", ".npy", ".lock"}
        for match in MACHINE_PATH.finditer(path.read_text(errors="replace"))
    ]
    assert found == []


def test_the_compose_file_is_one_by_the_published_schema() -> None:
    # compose-spec.json of the Compose Specification (Apache-2.0), as the package check-jsonschema carries it.
    published = resources.files("check_jsonschema") / "builtin_schemas" / "vendor" / "compose-spec.json"
    schema = json.loads(published.read_text())
    compose = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
    validator = validator_for(schema)(schema)
    assert list(validator.iter_errors(compose)) == []
    assert list(validator.iter_errors({**compose, "services": {"web": {"comand": ["x"]}}}))


def test_the_compose_file_runs_every_part() -> None:
    services = yaml.safe_load((ROOT / "docker-compose.yml").read_text())["services"]
    assert {"web", "worker", "schedule", "postgres", "redis"} <= set(services)
    for name in ("web", "worker", "schedule"):
        assert {"DATABASE_URL", "BROKER_URL"} <= set(services[name]["environment"]), name
