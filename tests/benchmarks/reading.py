"""How fast a club's returns are read from PostgreSQL into the frame, against a plain COPY of the same rows.

`uv run python -m tests.benchmarks.reading --rows 1000000`

A database of its own is made on the server of DATABASE_URL, filled with invented returns by the server
itself, and dropped at the end. The plain COPY writes the same columns of the same joined rows, which
`psql` reads and throws away, so that its time is the server's and not Python's. The two take turns, each
in a process of its own; one JSON line gives the median of each, the ratio of the medians, and the most
memory that a process held while it read (Python, Django and pandas included).
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
from psycopg import sql

from tests.benchmarks.invented_rows import invent_rows

SERVER = "postgres://postgres@127.0.0.1:5432/postgres"

PLAIN_COPY = """
COPY (
    SELECT session.uid, session.fished_on, session.session_kind, session.outcome, session.water_id,
        session.peg_id, session.member_id, session.match_id, part.hook_bait_id, part.rig_type_id,
        part.method_id, session.rods, session.hours, session.weight_g,
        CASE WHEN session.outcome = 'counted_only' THEN
            (SELECT sum(weight_g) FROM clubdata_catchline line WHERE line.session_id = session.id) END,
        part.part_order, part.hours, part.weight_g, part.distance_m, day.wind_force, day.water_temperature_c
    FROM clubdata_return session
    LEFT JOIN clubdata_sessionpart part ON part.session_id = session.id
    LEFT JOIN clubdata_conditions day ON day.session_id = session.id
    WHERE session.club_id = 1
) TO STDOUT
"""


@contextmanager
def scratch_database(server: str) -> Iterator[str]:
    """The address of a database that is dropped again."""
    name = f"reading_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    try:
        yield f"{server.rsplit('/', 1)[0]}/{name}"
    finally:
        with psycopg.connect(server, autocommit=True) as connection:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def plain_copy(database: str) -> float:
    begun = time.perf_counter()
    command = ["psql", "--quiet", database, "--command", PLAIN_COPY]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begun


def in_a_process(*arguments: str) -> dict[str, Any]:
    """The JSON line of this module's own `--once`, from a fresh process."""
    command = [sys.executable, "-m", "tests.benchmarks.reading", *arguments]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def read_once() -> dict[str, Any]:
    """Seconds and peak memory of one reading, in this process."""
    import resource

    import django

    django.setup()
    from analytics.frames import load_frame
    from clubdata.models import Club

    club = Club.objects.get()
    before = resource.getrusage(resource.RUSAGE_SELF)
    begun = time.perf_counter()
    loaded = load_frame(club=club)
    seconds = time.perf_counter() - begun
    after = resource.getrusage(resource.RUSAGE_SELF)
    return {
        "seconds": seconds,
        "processor_seconds": after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime,
        "returns": loaded.returns,
        "parts": len(loaded.frame),
        "memory_before_mb": before.ru_maxrss // 1024,
        "peak_memory_mb": after.ru_maxrss // 1024,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--once", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.once:
        print(json.dumps(read_once()))
        return
    server = os.environ.get("DATABASE_URL", SERVER)
    with scratch_database(server) as database, tempfile.TemporaryDirectory() as folder:
        os.environ |= {"DATABASE_URL": database, "CLUBDATA_DEMO": "1", "CLUBDATA_VAR": folder}
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdata.settings")
        subprocess.run([sys.executable, "manage.py", "migrate", "-v", "0"], check=True)
        invent_rows(database, rows=options.rows, seed=options.seed)
        plain_copy(database)
        plain, ours = [], []
        for _ in range(options.repeats):
            plain.append(plain_copy(database))
            ours.append(in_a_process("--once"))
    print(json.dumps(summary(plain, ours)))


def summary(plain: list[float], ours: list[dict[str, Any]]) -> dict[str, Any]:
    seconds = [run["seconds"] for run in ours]
    return {
        "returns": ours[0]["returns"],
        "parts": ours[0]["parts"],
        "plain_copy_seconds": round(statistics.median(plain), 3),
        "reading_seconds": round(statistics.median(seconds), 3),
        "ratio": round(statistics.median(seconds) / statistics.median(plain), 2),
        "ratio_of_fastest": round(min(seconds) / min(plain), 2),
        "every_plain_copy": [round(value, 2) for value in plain],
        "every_reading": [round(value, 2) for value in seconds],
        "processor_seconds": round(statistics.median(run["processor_seconds"] for run in ours), 2),
        "memory_before_mb": ours[0]["memory_before_mb"],
        "peak_memory_mb": max(run["peak_memory_mb"] for run in ours),
        "load_average": round(os.getloadavg()[0], 1),
    }


if __name__ == "__main__":
    main()
