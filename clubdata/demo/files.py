"""Where the invented club's description and its messy sheet lie."""

from pathlib import Path
from typing import Final

CLUB_FILE: Final = Path(__file__).parent / "club-heron.json"
RETURNS_FILE: Final = Path(__file__).parent / "returns-heron.csv"
