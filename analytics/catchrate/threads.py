"""Long work on as many threads as a small machine has cores: NumPy lets go of the interpreter meanwhile."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

#: From this many rows on, work is shared.
ROWS_FOR_THREADS, THREADS = 50_000, 2


def each(work: Callable[[Any], None], items: Sequence[Any], *, rows: int) -> None:
    """Each item's work over so many rows."""
    if rows < ROWS_FOR_THREADS:
        for item in items:
            work(item)
        return
    with ThreadPoolExecutor(THREADS) as threads:
        for _ in threads.map(work, items):
            pass


def by_rows(work: Callable[[slice], None], rows: int) -> None:
    """Work on all rows, a stretch of them at a time."""
    ends = [rows * share // THREADS for share in range(THREADS + 1)]
    stretches = [slice(0, rows)] if rows < ROWS_FOR_THREADS else [*map(slice, ends[:-1], ends[1:])]
    each(work, stretches, rows=rows)
