"""The invented club's catches by species: the column `Catch` of `clubdata/demo/returns-heron.csv`.

    CLUBDATA_DEMO=1 uv run manage.py shell -c "from tests.simulation.heron_catches import write; write()"

makes it anew. Each row draws from a generator seeded by its own cells, so that the sheet comes out the same
and its repeated rows stay repeats. The shares are invented, as everything about the club is: carp and tench
feed in warm water, tench are few, the canal holds mostly silver fish, and fewer than half of the returns
tell their species. Lines are in grams and add up to the row's total exactly.
"""

import csv
import json
from datetime import date
from hashlib import blake2b
from math import cos, pi

import numpy as np

from clubdata.demo.files import CLUB_FILE, RETURNS_FILE
from clubdata.intake.cells import CellProblem, read_date, read_weight
from clubdata.rules.conventions import Conventions, read_conventions
from clubdata.rules.words import fold

HEADER = "Catch"
TELLS = 0.45
#: The sheet ends in 2024; its one date in the future is 2099.
LAST_DAY = date(2024, 12, 31)
#: Relative weight of each species in a year, by water.
SHARES = {
    "heron mere": {"roach": 25, "bream": 12, "perch": 8, "carp": 42, "tench": 0.3},
    "saltway canal": {"roach": 45, "bream": 22, "perch": 18, "carp": 10, "tench": 0.1},
    "tilepit pool": {"roach": 22, "bream": 5, "perch": 8, "carp": 50, "tench": 0.3},
}
#: How much more of it is caught in the warmest month than in the coldest.
WARMTH = {"roach": 1.0, "bream": 1.5, "perch": 0.7, "carp": 4.0, "tench": 5.0}
#: A share that would weigh less is no fish of that kind.
LEAST_G = {"roach": 20, "bream": 150, "perch": 20, "carp": 700, "tench": 400}
#: How alike the returns of one water and month are.
ALIKE = 4.0


def catch_of(cells: list[str], *, water: str, month: int, weight_g: int) -> str:
    """The catch cell of a row, or nothing where the row tells no species."""
    seed = blake2b("\x1f".join(cells).encode(), digest_size=8).digest()
    generator = np.random.default_rng(int.from_bytes(seed, "big"))
    if generator.random() >= TELLS:
        return ""
    warm = (1 - cos(2 * pi * (month - 1) / 12)) / 2
    names = list(SHARES[water])
    wanted = np.array([SHARES[water][name] * (1 + (WARMTH[name] - 1) * warm) for name in names])
    drawn = generator.dirichlet(ALIKE * wanted / wanted.sum()) * weight_g
    grams = {name: int(share) for name, share in zip(names, drawn, strict=True) if share >= LEAST_G[name]}
    most = max(grams, key=lambda name: grams[name], default="roach")
    grams[most] = weight_g - sum(amount for name, amount in grams.items() if name != most)
    return "; ".join(f"{name} {grams[name]}g" for name in sorted(grams, key=lambda name: -grams[name]))


def sheet() -> str:
    """The demo's sheet with its column of catches made anew."""
    conventions = read_conventions(json.loads(CLUB_FILE.read_text(encoding="utf-8"))["conventions"])
    header, *rows = csv.reader(RETURNS_FILE.read_text(encoding="utf-8").splitlines())
    at = header.index(HEADER) if HEADER in header else len(header)
    lines = [[*header[:at], HEADER], *([*cells[:at], _made(cells[:at], conventions)] for cells in rows)]
    return "".join(f"{','.join(cells)}\n" for cells in lines)


def _made(cells: list[str], conventions: Conventions) -> str:
    """Nothing for a row that will be refused, or has no weight."""
    water = fold(cells[1])
    try:
        day = read_date(cells[0].strip(), conventions.date_order, LAST_DAY)
        weighing = read_weight(cells[12].strip(), conventions).weighing
    except CellProblem:
        return ""
    if weighing is None or water not in SHARES:
        return ""
    return catch_of(cells, water=water, month=day.month, weight_g=weighing.weight_g)


def write() -> None:
    RETURNS_FILE.write_text(sheet(), encoding="utf-8")
