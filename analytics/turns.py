"""One at a time for the same thing: whoever comes while it is being made waits, and finds it made."""

import threading
from collections.abc import Hashable, Iterator
from contextlib import contextmanager


class Turns:
    """A lock a key, kept only while somebody holds it or waits for it."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._held: dict[Hashable, tuple[threading.Lock, int]] = {}

    @contextmanager
    def of(self, key: Hashable) -> Iterator[None]:
        """Alone with the key; other keys go on meanwhile."""
        with self._guard:
            lock, waiting = self._held.get(key, (threading.Lock(), 0))
            self._held[key] = (lock, waiting + 1)
        try:
            with lock:
                yield
        finally:
            with self._guard:
                lock, waiting = self._held[key]
                if waiting == 1:
                    del self._held[key]
                else:
                    self._held[key] = (lock, waiting - 1)
