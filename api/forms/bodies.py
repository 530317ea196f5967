"""Bodies that were written once, kept in the process up to so many bytes, the least asked for going first.

Each process keeps its own: the web server runs one with threads, a cache between processes would add a
service to run and a copy of personal answers outside the process, and a second process pays one first
answer a key.
"""

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass

from analytics.turns import Turns

MOST_BYTES = 32 * 1024 * 1024
#: A larger body would push out too much else.
LARGEST_BODY = MOST_BYTES // 8


@dataclass(frozen=True, slots=True)
class Body:
    """Bytes as sent, and their strong entity tag."""

    content: bytes
    content_type: str
    file_name: str
    etag: str


def body_of(content: bytes, *, content_type: str, file_name: str) -> Body:
    """The tag is of the bytes, so each form of each answer has its own."""
    digest = hashlib.sha256(content).hexdigest()[:32]
    return Body(content, content_type, file_name, f'"{digest}"')


class Bodies:
    """A bounded map from everything that an answer depends on to its body; safe between threads."""

    def __init__(self, *, most_bytes: int = MOST_BYTES, largest_body: int = LARGEST_BODY) -> None:
        self._most_bytes, self._largest_body = most_bytes, largest_body
        self._kept: OrderedDict[Hashable, Body] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()
        self._turns = Turns()

    def get(self, key: Hashable) -> Body | None:
        with self._lock:
            body = self._kept.get(key)
            if body is not None:
                self._kept.move_to_end(key)
            return body

    def get_or_write(self, key: Hashable, write: Callable[[], Body]) -> Body:
        """The body that is kept, or else a new one, which is written once for all who wait for it."""
        body = self.get(key)
        if body is not None:
            return body
        with self._turns.of(key):
            body = self.get(key)
            if body is None:
                body = write()
                self.keep(key, body)
        return body

    def keep(self, key: Hashable, body: Body) -> None:
        if len(body.content) > self._largest_body:
            return
        with self._lock:
            self._drop(key)
            self._kept[key] = body
            self._bytes += len(body.content)
            while self._bytes > self._most_bytes:
                self._drop(next(iter(self._kept)))

    def forget(self) -> None:
        with self._lock:
            self._kept.clear()
            self._bytes = 0

    @property
    def bytes_kept(self) -> int:
        return self._bytes

    def _drop(self, key: Hashable) -> None:
        body = self._kept.pop(key, None)
        if body is not None:
            self._bytes -= len(body.content)
