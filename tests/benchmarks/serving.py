"""How fast answers come over HTTP, as ratios to a view that does as little as it may.

`uv run python -m tests.benchmarks.serving`
`uv run python -m tests.benchmarks.serving --rounds 400 --fits 6 --server sqlite`

A database of its own is made on a PostgreSQL server (or a file of SQLite), the invented club is imported
and fitted, and the real web server answers with its threads. Every kind of answer takes turns with `bare`
(`tests.benchmarks.serving_site`): the same server, middleware, authentication and membership check, one
indexed read, as many bytes. One JSON line a kind gives medians in milliseconds and their ratios to `bare`:

- `warm`: asked before, nothing has changed; `unchanged`: the same with its ETag, answered 304;
- `at_once`: asked before, and asked again the moment that a new fit is stored; `meanwhile`: the same, a few
  times a second until the web process has surely turned to it;
- `after_fit`: a moment later, what was asked before; `after_fit_usual`: what is usually asked (`api.usual`)
  and was not; `after_fit_unusual`: what is neither. Each of the two has as many questions as `asked_from`
  says, and takes the next one after every fit.
- `nothing`: `warm` as a ratio to a view that asks nobody anything.

`told_old` counts, by way, the answers that were of the fit before.

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
from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from clubdata.demo.files import RETURNS_FILE
from tests.benchmarks.reading import SERVER, scratch_database
from tests.services.stage import Office, Stage, free_port, stage_environ, wait_for

#: What a moment after a fit is, in seconds: the web process looks for a new one twice a second.
MOMENT_S = 2.0
#: Between two questions of that moment.
PAUSE_S = 0.05
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

    def json(self, path: str) -> Any:
        _, status, body, _ = self.get(path)
        assert status == 200, (path, status, body[:300])
        return json.loads(body)

    def timed(self, path: str, status: int = 200, **headers: str) -> float:
        took_ms, found, body, _ = self.get(path, **headers)
        assert found == status, (path, found, body[:300])
        return took_ms


@dataclass(frozen=True)
class Kind:
    """A question, and others of its kind that nobody asks before a fit: usual ones, and others."""

    name: str
    path: str
    usual: tuple[str, ...]
    unusual: tuple[str, ...]


def kinds(site: Site) -> list[Kind]:
    """About the first water; the usual questions are those that the others of the club ask."""
    club = "/api/v1/clubs/heron"
    waters = [row["uid"] for row in site.json(f"{club}/waters/")["results"]]
    here, *others = (f"{club}/waters/{uid}" for uid in waters)
    pegs = [peg["label"] for peg in site.json(f"{here}/pegs/")["results"] if peg["in_use"]]
    month = datetime.now(UTC).month
    of_months = itertools.product((3, 6), range(1, 13))
    trends = itertools.product((here, *others), ("bait-month", "distance-season", "temperature"))
    return [
        Kind(
            "advice",
            f"{here}/advice/?month=7",
            tuple(f"{here}/advice/?{urlencode({'month': month, 'peg': label})}" for label in pegs),
            tuple(f"{here}/advice/?month={number}&hours={hours}" for hours, number in of_months),
        ),
        Kind(
            "peg form",
            f"{here}/peg-form/",
            tuple(f"{water}/peg-form/" for water in others),
            tuple(f"{here}/peg-form/?month={number}" for number in range(1, 13)),
        ),
        Kind(
            "trends",
            f"{club}/trends/",
            tuple(f"{water}/trends/{by}" for water in (here, *others) for by in ("", "?by=year")),
            tuple(f"{water}/trends/?by={by}" for water, by in trends),
        ),
    ]


@contextmanager
def staged(server: str, *, processes: int = 1) -> Iterator[tuple[Site, Office]]:
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
            stage.start(*gunicorn, "--workers", str(processes), "api.wsgi:application")
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


@dataclass
class AfterFits:
    """What is measured after every new fit, and how many answers were of the fit before."""

    site: Site
    office: Office
    asked: list[Kind]
    times: Times
    told_old: Counter[str] = field(default_factory=Counter)
    told_new: Counter[str] = field(default_factory=Counter)

    def measure(self, fits: int) -> None:
        for number in range(fits):
            before = self.uid_told(self.asked[0].path)
            for kind in self.asked:
                self.site.timed(kind.path)
            fit_anew(self.office)
            # The server may have closed a connection that was idle so long.
            self.site.connection.close()
            first = number % len(self.asked)
            in_turn = [*self.asked[first:], *self.asked[:first]]
            for kind in in_turn:
                self.ask(kind, "at_once", kind.path, before)
            until = time.monotonic() + MOMENT_S
            for kind in itertools.cycle(in_turn):
                if time.monotonic() > until:
                    break
                time.sleep(PAUSE_S)
                self.ask(kind, "meanwhile", kind.path, before)
            for kind in in_turn:
                self.ask(kind, "after_fit", kind.path, before)
                self.ask(kind, "after_fit_usual", kind.usual[number % len(kind.usual)], before)
                self.ask(kind, "after_fit_unusual", kind.unusual[number % len(kind.unusual)], before)

    def ask(self, kind: Kind, way: str, path: str, before: str) -> None:
        took_ms, status, body, _ = self.site.get(path)
        assert status == 200, (path, status, body[:300])
        self.times[kind.name][way].append(took_ms)
        told = json.loads(body)["fit"]["uid"]
        (self.told_old if told == before else self.told_new)[way] += 1

    def uid_told(self, path: str) -> str:
        return str(self.site.json(path)["fit"]["uid"])


def report(times: Times, sizes: dict[str, int], asked: list[Kind]) -> Iterator[dict[str, Any]]:
    asked_from = {kind.name: {"usual": len(kind.usual), "unusual": len(kind.unusual)} for kind in asked}
    for name, ways in times.items():
        medians = {way: statistics.median(found) for way, found in ways.items()}
        bare = medians["bare"]
        yield {
            "kind": name,
            "bytes": sizes[name],
            "ms": {way: round(found, 2) for way, found in medians.items()},
            "ratio": {way: round(found / bare, 2) for way, found in medians.items() if way != "nothing"},
            "warm_to_nothing": round(medians["warm"] / medians["nothing"], 2),
            "slowest_ms": {way: round(max(found), 2) for way, found in ways.items()},
            "times": {way: len(found) for way, found in ways.items()},
            "asked_from": asked_from[name],
        }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rounds", type=int, default=300)
    parser.add_argument("--fits", type=int, default=6)
    parser.add_argument("--server", default=SERVER, help="a PostgreSQL server, or 'sqlite'")
    given = parser.parse_args()
    with staged(given.server) as (site, office):
        asked = kinds(site)
        times, sizes = measure_warm(site, asked, given.rounds)
        after = AfterFits(site, office, asked, times)
        after.measure(given.fits)
        for line in report(times, sizes, asked):
            print(json.dumps(line))
        print(json.dumps({"told_old": after.told_old, "told_new": after.told_new}))


if __name__ == "__main__":
    main()
