"""How many returns are handed in a second over HTTP, as a ratio to a view that inserts one row.

`uv run python -m tests.benchmarks.hand_ins`
`uv run python -m tests.benchmarks.hand_ins --rounds 24 --connections 8 --processes 2`

A database of its own is made on a PostgreSQL server, the invented club is imported and fitted, and the real
web server answers with two processes. Phones hand in over connections that stay open, as fast as they are
answered, each time with an Idempotency-Key of its own: the short form (`short`), a whole return with its
rig, weather and a catch line (`whole`), or twenty of those together. They take turns with `bare_insert`
(`tests.benchmarks.serving_site`): the same server, middleware, authentication and membership check, one
peg looked up, one row inserted. One JSON line gives all in returns a second, the median over the rounds
of the ratios to the bare insert, and the times of a call at the 50th and 99th percentile. Which of the
processes a connection falls to is chance: many short rounds tell more than a few long ones.
"""

import argparse
import http.client
import json
import statistics
import time
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import count
from typing import Any

from tests.benchmarks.reading import SERVER
from tests.benchmarks.serving import Site, staged

CLUB = "/api/v1/clubs/heron"
HELD = 20
_turn = count()


@dataclass(frozen=True)
class Round:
    """Requests that were answered, in how many seconds, and the milliseconds of each."""

    answered: int
    seconds: float
    times_ms: list[float]

    @property
    def a_second(self) -> float:
        return self.answered / self.seconds


def short_form(peg: str, water: str) -> dict[str, Any]:
    """The least that says it all."""
    day = date(2024, 1, 1) + timedelta(days=next(_turn) % 600)
    said = {"water": water, "peg": peg, "fished_on": day.isoformat(), "hours": 5, "weight": "12-8"}
    return {**said, "hook_bait": "caster", "distance_m": 11}


def whole_return(peg: str, water: str) -> dict[str, Any]:
    """As a phone sends it after a session."""
    day = date(2024, 1, 1) + timedelta(days=next(_turn) % 600)
    return {
        "water": water,
        "peg": peg,
        "fished_on": day.isoformat(),
        "started_at": "08:00",
        "hours": 5,
        "outcome": "weighed",
        "weight": "12lb 8oz",
        "parts": [{"hook_bait": "caster", "distance_m": 11, "main_line_mm": 0.14, "hooklength_mm": 0.1}],
        "conditions": {"wind_force": 2, "water_temperature_c": 11},
        "catch": [{"species": "roach", "weight": "4 lb", "fish_count": 20}],
    }


def ask(
    site: Site, path: str, requests: int, bodies: Callable[[], dict[str, Any]], keyed: bool
) -> list[float]:
    """One phone: its requests one after another, and how long each took in milliseconds."""
    connection = http.client.HTTPConnection("127.0.0.1", site.port, timeout=60)
    times = []
    for _ in range(requests):
        headers = {"Authorization": f"Bearer {site.token}", "Content-Type": "application/json"}
        if keyed:
            headers["Idempotency-Key"] = str(uuid.uuid4())
        body = json.dumps(bodies())
        begun = time.perf_counter()
        connection.request("POST", path, body=body, headers=headers)
        answer = connection.getresponse()
        said = answer.read()
        times.append((time.perf_counter() - begun) * 1000)
        assert answer.status in {200, 201} and b'"problem":{' not in said, (answer.status, said[:300])
    connection.close()
    return times


def measured(
    site: Site,
    path: str,
    bodies: Callable[[], dict[str, Any]],
    *,
    connections: int,
    requests: int,
    keyed: bool,
) -> Round:
    begun = time.perf_counter()
    with ThreadPoolExecutor(connections) as phones:
        asked = [phones.submit(ask, site, path, requests, bodies, keyed) for _ in range(connections)]
        times = [took for one in asked for took in one.result()]
    return Round(len(times), time.perf_counter() - begun, times)


def weight_of(name: str) -> int:
    """Returns in one call."""
    return HELD if name == "together" else 1


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rounds", type=int, default=24)
    parser.add_argument("--requests", type=int, default=25, help="of each connection in a round")
    parser.add_argument("--connections", type=int, default=8)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--server", default=SERVER, help="a PostgreSQL server, or 'sqlite'")
    given = parser.parse_args()
    with staged(given.server, processes=given.processes) as (site, _):
        water = site.json(f"{CLUB}/waters/")["results"][0]
        pegs = site.json(f"{CLUB}/waters/{water['uid']}/pegs/")["results"]
        peg = next(one["label"] for one in pegs if one["in_use"])

        def bodies() -> dict[str, Any]:
            return whole_return(peg, water["name"])

        def short() -> dict[str, Any]:
            return short_form(peg, water["name"])

        def week() -> dict[str, Any]:
            return {"returns": [bodies() for _ in range(HELD)]}

        rounds: dict[str, list[Round]] = {name: [] for name in ("short", "whole", "together", "bare_insert")}
        for number in range(given.rounds + 1):
            for name, path, said in (
                ("short", f"{CLUB}/returns/", short),
                ("whole", f"{CLUB}/returns/", bodies),
                ("together", f"{CLUB}/returns/batch/", week),
                ("bare_insert", "/bare-insert/heron/", bodies),
            ):
                sent = max(1, given.requests // HELD) if name == "together" else given.requests
                keyed = name != "bare_insert"
                found = measured(site, path, said, connections=given.connections, requests=sent, keyed=keyed)
                if number:  # the first warms up
                    rounds[name].append(found)
        line: dict[str, Any] = {
            "a_second": {
                name: round(statistics.median(one.a_second for one in found) * weight_of(name), 1)
                for name, found in rounds.items()
            }
        }
        for name in ("short", "whole", "together"):
            ratios = [
                ours.a_second * weight_of(name) / bare.a_second
                for ours, bare in zip(rounds[name], rounds["bare_insert"], strict=True)
            ]
            line[f"{name}_ratio"] = round(statistics.median(ratios), 3)
            line[f"{name}_ratios"] = sorted(round(one, 2) for one in ratios)
        for name, found in rounds.items():
            times = statistics.quantiles((took for one in found for took in one.times_ms), n=100)
            line[f"{name}_ms"] = {"p50": round(times[49], 1), "p99": round(times[98], 1)}
        print(json.dumps(line))


if __name__ == "__main__":
    main()
