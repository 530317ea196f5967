"""Bodies are kept up to so many bytes, the least asked for going first."""

import threading
import time

import pytest

from api.forms.bodies import Bodies, Body, body_of


def body(content: bytes) -> Body:
    return body_of(content, content_type="text/plain", file_name="a.txt")


def test_the_least_asked_for_goes_first() -> None:
    bodies = Bodies(most_bytes=30, largest_body=20)
    for key in "abc":
        bodies.keep(key, body(key.encode() * 10))
    assert bodies.get("a") is not None
    bodies.keep("d", body(b"d" * 10))
    assert [bodies.get(key) is not None for key in "abcd"] == [True, False, True, True]
    assert bodies.bytes_kept == 30


def test_what_is_too_large_is_not_kept_and_what_is_kept_anew_counts_once() -> None:
    bodies = Bodies(most_bytes=30, largest_body=20)
    bodies.keep("a", body(b"a" * 21))
    assert bodies.get("a") is None and bodies.bytes_kept == 0
    bodies.keep("a", body(b"a" * 9))
    bodies.keep("a", body(b"a" * 7))
    assert bodies.bytes_kept == 7
    bodies.forget()
    assert bodies.get("a") is None and bodies.bytes_kept == 0


def test_a_tag_is_strong_and_of_the_bytes() -> None:
    assert body(b"a").etag == body(b"a").etag != body(b"b").etag
    assert body(b"a").etag.startswith('"')


def test_threads_leave_the_count_right() -> None:
    bodies = Bodies(most_bytes=1000, largest_body=100)

    def fill(name: int) -> None:
        for number in range(300):
            bodies.keep((name, number % 40), body(b"x" * (number % 90)))
            bodies.get((name, number % 13))

    threads = [threading.Thread(target=fill, args=(name,)) for name in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert bodies.bytes_kept == sum(len(one.content) for one in bodies._kept.values()) <= 1000


def test_what_many_want_at_once_is_written_once() -> None:
    bodies, written, begun = Bodies(), [], threading.Event()

    def write() -> Body:
        begun.set()
        time.sleep(0.05)
        written.append(1)
        return body(b"x")

    found: list[Body] = []
    threads = [
        threading.Thread(target=lambda: found.append(bodies.get_or_write("a", write))) for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    assert begun.wait(5)
    assert bodies.get_or_write("b", lambda: body(b"other")).content == b"other", "another waits for nobody"
    for thread in threads:
        thread.join()
    assert len(written) == 1 and len(found) == 6
    assert not bodies._turns._held


def test_a_body_that_could_not_be_written_is_tried_again() -> None:
    bodies = Bodies()

    def fail() -> Body:
        raise KeyError("no such thing")

    for _ in range(2):
        with pytest.raises(KeyError):
            bodies.get_or_write("a", fail)
    assert bodies.get_or_write("a", lambda: body(b"x")).content == b"x"
