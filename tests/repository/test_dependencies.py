"""What we build on: said why, locked, and under licences that let a club use the result."""

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[2]
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())

# Permissive licences, and the weak copyleft of libraries that we use unchanged as libraries.
PERMITTED = re.compile(
    r"MIT|BSD|Apache|PSF|Python Software Foundation|ISC|Zlib|MPL|Mozilla Public License|0BSD|Unlicense|CC0"
    r"|LGPL|Lesser General Public",
    re.IGNORECASE,
)
REFUSED = re.compile(r"(?<![L])GPL|(?<!Lesser )General Public License|AGPL|Affero|Commercial", re.IGNORECASE)


def licence_of(name: str) -> str:
    """A distribution's licence by its expression, else its classifiers, else its own words."""
    about = metadata.metadata(name)
    classifiers = [c for c in about.get_all("Classifier") or [] if c.startswith("License ::")]
    return about.get("License-Expression") or "; ".join(classifiers) or (about.get("License") or "")[:200]


def runtime_closure() -> list[str]:
    """Every distribution that a default install without the development group brings."""
    waiting = [Requirement(line) for line in PYPROJECT["project"]["dependencies"]]
    seen: dict[str, None] = {}
    while waiting:
        requirement = waiting.pop()
        name = re.sub(r"[-_.]+", "-", requirement.name).lower()
        extras = requirement.extras or {""}
        if name in seen and not requirement.extras:
            continue
        seen[name] = None
        for line in metadata.requires(name) or []:
            child = Requirement(line)
            if child.marker is None or any(child.marker.evaluate({"extra": extra}) for extra in extras):
                waiting.append(child)
    return sorted(seen)


@pytest.mark.parametrize("name", runtime_closure())
def test_a_runtime_dependency_has_a_licence_that_a_club_can_live_with(name: str) -> None:
    licence = licence_of(name)
    assert PERMITTED.search(licence), f"{name}: {licence!r}"
    assert not REFUSED.search(licence), f"{name}: {licence!r}"


def test_the_refusal_would_catch_a_strong_copyleft_licence() -> None:
    assert REFUSED.search("GPL-3.0-or-later")
    assert REFUSED.search("GNU General Public License v3 (GPLv3)")
    assert not REFUSED.search("LGPL-3.0-only")
    assert not REFUSED.search("GNU Lesser General Public License v3 (LGPLv3)")


def test_every_dependency_says_why_it_is_there() -> None:
    lines = (ROOT / "pyproject.toml").read_text().splitlines()
    wanted = [*PYPROJECT["project"]["dependencies"], *PYPROJECT["dependency-groups"]["dev"]]
    for requirement in wanted:
        at = next(i for i, line in enumerate(lines) if line.strip() == f'"{requirement}",')
        above = [line.strip() for line in lines[max(0, at - 2) : at]]
        assert any(line.startswith("# ") for line in above), f"{requirement} has no comment line"


def test_the_lock_names_the_public_registry_and_no_other_place() -> None:
    hosts = set(re.findall(r"https?://([^/\"]+)", (ROOT / "uv.lock").read_text()))
    assert hosts <= {"pypi.org", "files.pythonhosted.org"}
