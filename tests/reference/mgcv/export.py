"""Write the design of a reference club as plain binary files that fit.R reads.

uv run python -m tests.reference.mgcv.export --rows 800 [--near] DIRECTORY
"""

import argparse
import sys
from pathlib import Path

import numpy as np

from analytics.catchrate.fit import problem_of, unit_of
from analytics.catchrate.rounds import Solution
from analytics.catchrate.solver import solve
from tests.reference.mgcv.design import (
    CLUBS,
    GRAMS_PER_KG,
    SPEC,
    DenseDesign,
    club_design,
    dense_design,
)


def write(design: DenseDesign, directory: Path, *, rows: int) -> None:
    """The manifest as text, everything else as little-endian doubles, matrices by column."""
    directory.mkdir(parents=True, exist_ok=True)
    _doubles(directory / "columns.bin", design.columns())
    _doubles(directory / "weight_kg.bin", design.weight_kg)
    _doubles(directory / "log_hours.bin", design.log_hours)
    penalties = [penalty.ravel() for block in design.blocks for penalty in block.penalties]
    _doubles(directory / "penalties.bin", np.concatenate(penalties))
    _doubles(directory / "chosen.bin", design.chosen().astype(np.float64))
    blocks = [f"{block.name},{block.columns.shape[1]},{len(block.penalties)}" for block in design.blocks]
    (directory / "blocks.csv").write_text("\n".join(["name,size,penalties", *blocks]) + "\n")
    club = f"rows,{rows}\nseed,{CLUBS[rows]}\nused,{len(design.weight_kg)}\n"
    (directory / "club.csv").write_text("key,value\n" + club)


def write_start(solution: Solution, directory: Path, unit_kg: float) -> None:
    """Power, dispersion in kilograms and log precisions near the engine's, to one decimal."""
    power = solution.state.family.power
    scale = float(np.exp(solution.state.log_dispersion[0])) * unit_kg ** (2.0 - power)
    values = [power, scale, *solution.state.search.rho]
    names = ["power", "scale_kg", *["log_precision"] * len(solution.state.search.rho)]
    lines = [f"{name},{value:.1f}" for name, value in zip(names, values, strict=True)]
    (directory / "start.csv").write_text("\n".join(["name,value", *lines]) + "\n")


def _doubles(path: Path, array: np.ndarray) -> None:
    path.write_bytes(np.asarray(array, dtype="<f8").tobytes(order="F"))


def main() -> None:
    parser = argparse.ArgumentParser(description="Write a reference club's design for fit.R.")
    parser.add_argument("directory", type=Path)
    parser.add_argument("--rows", type=int, required=True, choices=sorted(CLUBS))
    parser.add_argument("--near", action="store_true", help="let fit.R begin near the engine's maximum")
    chosen = parser.parse_args()
    club = club_design(chosen.rows)
    design = dense_design(club)
    write(design, chosen.directory, rows=chosen.rows)
    if chosen.near:
        unit = unit_of(club.returns)
        write_start(solve(problem_of(club, SPEC, unit)), chosen.directory, unit / GRAMS_PER_KG)
    sys.stdout.write(f"{len(design.weight_kg)} returns, {design.columns().shape[1]} columns\n")


if __name__ == "__main__":
    main()
