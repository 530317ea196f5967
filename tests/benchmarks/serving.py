"""How fast answers come over HTTP, as ratios to a view that does as little as it may.

`uv run python -m tests.benchmarks.serving`
`uv run python -m tests.benchmarks.serving --rounds 400 --fits 6 --server sqlite`

A database of its own is made on a PostgreSQL server (or a file of SQLite), the invented club is imported
and fitted, and the real web server answers with its threads. Every kind of answer takes turns with `bare`
(`tests.benchmarks.serving_site`): the same server, middleware, authentication and membership check, one
indexed read, as many bytes. One JSON line a kind gives medians in milliseconds and their ratios to `bare`:

- `warm`: asked before, nothing has changed; `unchanged`: the same with its ETag, answered 304;
- `after_fit`: the first time that a question asked before is asked of a new fit, a moment after it;
- `after_fit_new`: the same of a question that was never asked; `at_once`: the very first question, asked
  the moment that the fit is stored, before the web process can have read it ahead;
- `nothing`: `warm` as a ratio to a view that asks nobody anything.

A "new fit" is a real one: a return is handed in, and the worker's code fits and promotes.
"""

import argparse
import http.client
import itertools
import json
import random
import statistics
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from clubdata.demo.files import RETURNS_FILE
from tests.benchmarks.reading import SERVER, scratch_database
from tests.services.stage import Office, Stage, free_port, stage_environ, wait_for

#: What a moment after a fit is, in seconds: the web process looks for a new one twice a second.
MOMENT_S = 2.0
WARM_UP = 20


@dataclass
class Site:
    """The web server, asked over one connection that stays open."""

    port: int
    token: str
    connection: http.client.HTTPConnection = field(init=False)

    def __post_init__(self) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)

    def get(self, path: str, **headers: str) -> tuple[float, int, bytes, str]:
        """Milliseconds, status, body and ETag; the connection is made beforehand."""
        if self.connection.sock is None:
            self.connection.connect()
        begun = time.perf_counter()
        self.connection.request("GET", path, headers={"Authorization": f"Bearer {self.token}", **headers})
        answer = self.connection.getresponse()
        body = answer.read()
        took_ms = (time.perf_counter() - begun) * 1000
        return took_ms, answer.status, body, answer.headers.get("ETag", "")

    def timed(self, path: str, status: int = 200, **headers: str) -> float:
        took_ms, found, body, _ = self.get(path, **headers)
        assert found == status, (path, found, body[:300])
        return took_ms


@dataclass(frozen=True)
class Kind:
    """A question, and others of its kind that nobody asks before a fit."""

    name: str
    path: str
    never_asked: tuple[str, ...]


def kinds(water: str) -> list[Kind]:
    of_water, club = f"/api/v1/clubs/heron/waters/{water}", "/api/v1/clubs/heron"
    months = tuple(
        f"{of_water}/advice/?month={month}&hours={hours}" for hours in (3, 6) for month in range(1, 13)
    )
    forms = tuple(f"{of_water}/peg-form/?month={month}" for month in range(1, 13))
    trends = ("bait-month", "distance-season", "temperature", "year", "year-month")
    return [
        Kind("advice", f"{of_water}/advice/?month=7", months),
        Kind("peg form", f"{of_water}/peg-form/", forms),
        Kind("trends", f"{club}/trends/", tuple(f"{of_water}/trends/?by={by}" for by in trends)),
    ]


@contextmanager
def staged(server: str) -> Iterator[tuple[Site, Office]]:
    """The invented club behind the web server, and an office that fits and hands in."""
    with tempfile.TemporaryDirectory() as folder, database_of(server, Path(folder)) as address:
        stage = Stage(stage_environ(Path(folder), DATABASE_URL=address), Path(folder))
        try:
            office = stage.office()
            office("open_club")
            assert office("work", job_id=office("want_import", sheet=str(RETURNS_FILE))) == "finished"
            assert office("work", job_id=office("want_fit")) == "finished"
            site = Site(free_port(), office("sign_in_with_every_role"))
            stage.environ["CLUBDATA_BIND"] = f"127.0.0.1:{site.port}"
            stage.environ["DJANGO_SETTINGS_MODULE"] = "tests.benchmarks.serving_settings"
            gunicorn = ("-m", "gunicorn", "--config", "api/server.py", "--keep-alive", "75")
            stage.start(*gunicorn, "api.wsgi:application")
            wait_for(lambda: is_up(site), what="the web server")
            yield site, office
        finally:
            stage.close()


@contextmanager
def database_of(server: str, folder: Path) -> Iterator[str]:
    if server == "sqlite":
        yield f"sqlite:///{folder / 'club.sqlite3'}"
    else:
        with scratch_database(server) as address:
            yield address


def is_up(site: Site) -> bool:
    try:
        return site.get("/health/live")[1] == 200
    except OSError:
        site.connection.close()
        return False


Times = dict[str, dict[str, list[float]]]


def measure_warm(site: Site, asked: list[Kind], rounds: int) -> tuple[Times, dict[str, int]]:
    """Each kind and its bare views in turns, in another order every round."""
    times: Times = defaultdict(lambda: defaultdict(list))
    first = {kind.name: site.get(kind.path) for kind in asked}
    sizes = {name: len(body) for name, (_, _, body, _) in first.items()}
    tags = {name: etag for name, (_, _, _, etag) in first.items()}
    turns = list(itertools.product(asked, ("warm", "unchanged", "bare", "nothing")))
    rng = random.Random(11)
    for number in range(WARM_UP + rounds):
        rng.shuffle(turns)
        for kind, way in turns:
            took_ms = ask(site, kind, way, sizes[kind.name], tags[kind.name])
            if number >= WARM_UP:
                times[kind.name][way].append(took_ms)
    return times, sizes


def ask(site: Site, kind: Kind, way: str, size: int, tag: str) -> float:
    match way:
        case "warm":
            return site.timed(kind.path)
        case "unchanged":
            return site.timed(kind.path, 304, **{"If-None-Match": tag})
        case "bare":
            return site.timed(f"/bare/heron/{size}/")
        case _:
            return site.timed(f"/nothing/{size}/")


def fit_anew(office: Office) -> None:
    office("hand_in_many", number=2)
    assert office("work", job_id=office("want_fit")) == "finished"


def measure_after_fits(site: Site, office: Office, asked: list[Kind], fits: int, times: Times) -> None:
    """Of every new fit, each kind once as asked before and once as never asked; then, of another, at once."""
    for number in range(fits):
        for kind in asked:
            site.timed(kind.path)
        fit_anew(office)
        time.sleep(MOMENT_S)
        for kind in asked:
            times[kind.name]["after_fit"].append(site.timed(kind.path))
        for kind in asked:
            question = kind.never_asked[number % len(kind.never_asked)]
            times[kind.name]["after_fit_new"].append(site.timed(question))
        fit_anew(office)
        first = asked[number % len(asked)]
        times[first.name]["at_once"].append(site.timed(first.path))


def report(times: Times, sizes: dict[str, int]) -> Iterator[dict[str, Any]]:
    for name, ways in times.items():
        medians = {way: statistics.median(found) for way, found in ways.items()}
        bare = medians["bare"]
        yield {
            "kind": name,
            "bytes": sizes[name],
            "ms": {way: round(found, 2) for way, found in medians.items()},
            "ratio": {way: round(found / bare, 2) for way, found in medians.items() if way != "nothing"},
            "warm_to_nothing": round(medians["warm"] / medians["nothing"], 2),
            "times": {way: len(found) for way, found in ways.items()},
        }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rounds", type=int, default=300)
    parser.add_argument("--fits", type=int, default=6)
    parser.add_argument("--server", default=SERVER, help="a PostgreSQL server, or 'sqlite'")
    given = parser.parse_args()
    with staged(given.server) as (site, office):
        water = json.loads(site.get("/api/v1/clubs/heron/waters/")[2])["results"][0]["uid"]
        asked = kinds(water)
        times, sizes = measure_warm(site, asked, given.rounds)
        measure_after_fits(site, office, asked, given.fits, times)
        for line in report(times, sizes):
            print(json.dumps(line))


if __name__ == "__main__":
    main()
