"""What a sheet has already said: its rows' identities and its matches' days, kept on disk while it is read.

The database is SQLite's own private temporary file: it vanishes with the connection, spills to disk, and
leaves memory flat in the length of the sheet. A dry run uses it too, since it writes nothing of the club's.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from datetime import date
from decimal import Decimal
from types import TracebackType
from typing import NamedTuple, Self

from clubdata.rules.words import fold

KnownMatch = tuple[str, int, date]


class Said(NamedTuple):
    """What a row or a record says of its session: two that say the same are one."""

    outcome: str
    weight_g: int | None
    hours: Decimal | None


_TABLES = """
CREATE TABLE seen (sheet_key TEXT PRIMARY KEY, outcome TEXT, weight_g INTEGER, hours TEXT) WITHOUT ROWID;
CREATE TABLE match (folded TEXT PRIMARY KEY, code TEXT, water_id INTEGER, held_on TEXT, is_new INTEGER);
"""


class Ledger:
    """Open it with `with`; it is gone afterwards."""

    def __init__(self, known_matches: Iterable[KnownMatch]) -> None:
        self._database = sqlite3.connect("", isolation_level=None)
        # It is thrown away after a crash, so it needs no journal and no waiting for the disk.
        self._database.executescript("PRAGMA journal_mode=OFF; PRAGMA synchronous=OFF;" + _TABLES)
        self._database.executemany(
            "INSERT OR IGNORE INTO match VALUES (?, ?, ?, ?, 0)",
            ((fold(code), code, water_id, day.isoformat()) for code, water_id, day in known_matches),
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._database.close()

    def seen(self, sheet_key: str) -> Said | None:
        """What the sheet said of this session in an earlier row, or None where it said nothing."""
        found = self._database.execute(
            "SELECT outcome, weight_g, hours FROM seen WHERE sheet_key = ?", (sheet_key,)
        ).fetchone()
        return None if found is None else Said(found[0], found[1], Decimal(found[2]))

    def remember(self, sheet_key: str, said: Said) -> None:
        self._database.execute(
            "INSERT OR IGNORE INTO seen VALUES (?, ?, ?, ?)",
            (sheet_key, said.outcome, said.weight_g, str(said.hours)),
        )

    def match(self, code: str, water_id: int, day: date) -> KnownMatch:
        """The match under this code, which becomes (code, water, day) if no earlier row or record has it."""
        self._database.execute(
            "INSERT OR IGNORE INTO match VALUES (?, ?, ?, ?, 1)",
            (fold(code), code, water_id, day.isoformat()),
        )
        known = self._database.execute(
            "SELECT code, water_id, held_on FROM match WHERE folded = ?", (fold(code),)
        ).fetchone()
        return known[0], known[1], date.fromisoformat(known[2])

    def new_matches(self) -> Iterator[KnownMatch]:
        """The matches that the sheet is the first to name, by day and code."""
        with closing(
            self._database.execute(
                "SELECT code, water_id, held_on FROM match WHERE is_new ORDER BY held_on, code"
            )
        ) as found:
            for code, water_id, held_on in found:
                yield code, water_id, date.fromisoformat(held_on)
