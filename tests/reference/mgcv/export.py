"""Write the design of a reference club as plain binary files that fit.R reads.

uv run python -m tests.reference.mgcv.export --rows 800 DIRECTORY
"""

import argparse
import sys
from pathlib import Path

import numpy as np

from tests.reference.mgcv.design import CLUBS, DenseDesign, club_design, dense_design


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


def _doubles(path: Path, array: np.ndarray) -> None:
    path.write_bytes(np.asarray(array, dtype="<f8").tobytes(order="F"))


def main() -> None:
    parser = argparse.ArgumentParser(description="Write a reference club's design for fit.R.")
    parser.add_argument("directory", type=Path)
    parser.add_argument("--rows", type=int, required=True, choices=sorted(CLUBS))
    chosen = parser.parse_args()
    design = dense_design(club_design(chosen.rows))
    write(design, chosen.directory, rows=chosen.rows)
    sys.stdout.write(f"{len(design.weight_kg)} returns, {design.columns().shape[1]} columns\n")


if __name__ == "__main__":
    main()
