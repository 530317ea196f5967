"""What the README promises exists: its commands, its routes, its files."""

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class
from django.urls import Resolver404, resolve

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]


def test_it_opens_with_one_paragraph_then_the_two_commands() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title.startswith("# clubdata")
    assert not paragraph.startswith(("#", "-", "```"))
    assert README.index("uv run manage.py demo") < README.index("\n## ")
    assert README.index("uv run pytest") < README.index("\n## ")


@pytest.mark.parametrize("line", sorted(set(re.findall(r"uv run (manage\.py [^`\n]+)", README))))
def test_a_management_command_in_it_is_there_with_those_options(line: str) -> None:
    _, name, *words = shlex.split(line, comments=True)
    app = get_commands()[name]
    command = load_command_class(app, name) if isinstance(app, str) else app
    parser = command.create_parser("manage.py", name)
    known = set(parser._option_string_actions)
    assert {word.split("=")[0] for word in words if word.startswith("--")} <= known


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"(/api/[\w/\-]+/|/health/\w+)(?=[?'\"\s`]|$)", README)))
)
def test_a_route_in_it_answers(path: str) -> None:
    try:
        resolve(path)
    except Resolver404:
        pytest.fail(f"README names {path}")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_its_links_to_files_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", page.read_text()):
        assert (page.parent / target).exists(), target


def test_the_index_of_pages_lists_every_page() -> None:
    index = (ROOT / "docs" / "README.md").read_text()
    pages = [path.name for path in (ROOT / "docs").glob("*.*") if path.name != "README.md"]
    assert [page for page in pages if f"]({page})" not in index] == []


def test_the_index_of_decisions_lists_each_under_its_title() -> None:
    folder = ROOT / "docs" / "decisions"
    index = (folder / "README.md").read_text()
    for path in sorted(folder.glob("20*.md")):
        title = path.read_text().splitlines()[0].removeprefix("# ")
        assert f"[{path.name[:10]} {title}]({path.name})" in index


def test_contributors_are_told_of_every_benchmark() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    benchmarks = (ROOT / "tests" / "benchmarks").glob("*.py")
    named = [path.stem for path in benchmarks if '__name__ == "__main__"' in path.read_text()]
    assert len(named) >= 6
    assert [name for name in named if f"| `{name}` |" not in page] == []


def test_the_catch_model_runs_on_files_as_pasted(tmp_path: Path) -> None:
    block = next(text for text in README.split("```") if "analytics.catchrate fit" in text)
    commands = block.replace("uv run python", shlex.quote(sys.executable))
    paths = os.environ | {"PYTHONPATH": str(ROOT)}
    ran = subprocess.run(
        ["bash", "-e", "-c", commands], cwd=tmp_path, env=paths, capture_output=True, text=True, check=True
    )
    used, found, _ = ran.stdout.splitlines()
    # The page says what comes of it, but for iterations and time.
    plain = " ".join(README.split())
    assert used in plain and found.split(";")[0] in plain
    predicted = (tmp_path / "var" / "predictions.csv").read_text().split()[1:]
    grams = [round(float(line.split(",")[-1])) for line in predicted]
    assert f"{grams[0]:,} g on corn, {grams[1]:,} g on pinkie" in plain
    assert json.loads((tmp_path / "var" / "fit.json").read_text())["rows"]["used"] == 3000
