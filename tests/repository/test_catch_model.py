"""The page on the catch model speaks of the code as it is."""

import importlib
import re
from pathlib import Path

import pytest

PAGE = (Path(__file__).parents[2] / "docs" / "catch-model.md").read_text()
PACKAGE = Path(__file__).parents[2] / "analytics" / "catchrate"
#: The modules whose classes the page names alone.
WITH_CLASSES = ("spec", "estimates", "family", "terms")
MODULES = {path.stem for path in PACKAGE.glob("*.py")}
NAMES = sorted(
    name for name in set(re.findall(r"`([a-z_]+(?:\.\w+)+)`", PAGE)) if name.split(".")[0] in MODULES
)
CLASSES = sorted(set(re.findall(r"`([A-Z][A-Za-z]+(?:\.\w+)?)`", PAGE)))


@pytest.mark.parametrize("name", NAMES)
def test_every_name_of_a_module_is_there(name: str) -> None:
    module, *path = name.split(".")
    found = importlib.import_module(f"analytics.catchrate.{module}")
    for part in path:
        found = getattr(found, part)


@pytest.mark.parametrize("name", CLASSES)
def test_every_class_and_field_is_there(name: str) -> None:
    kind, *field = name.split(".")
    modules = [importlib.import_module(f"analytics.catchrate.{stem}") for stem in WITH_CLASSES]
    found = next((getattr(module, kind) for module in modules if hasattr(module, kind)), None)
    assert found is not None
    assert all(hasattr(found, part) for part in field)


def test_the_page_names_the_code_throughout() -> None:
    assert len(NAMES) > 15 and len(CLASSES) > 5
