from pathlib import Path
from typing import Any

import pytest

from clubdata.models import Club
from tests.unit.clubdata.intake.sheets import Desk, small_club


@pytest.fixture(autouse=True)
def own_uploads(settings: Any, tmp_path: Path) -> None:
    settings.UPLOAD_DIR = tmp_path / "uploads"


@pytest.fixture
def club(db: None) -> Club:
    return small_club()


@pytest.fixture
def desk(club: Club, tmp_path: Path) -> Desk:
    return Desk(club, tmp_path)
