"""Write the design of a simulated club as plain binary files that fit.R reads.

uv run python -m tests.reference.mgcv.export --rows 800 --seed 1 DIRECTORY
"""

import argparse
import sys
from pathlib import Path

import numpy as np

from tests.reference.mgcv.design import DenseDesign, dense_design


def write(design: DenseDesign, directory: Path, *, rows: int, seed: int) -> None:
    """The manifest as text, everything else as little-endian doubles, matrices by column."""
    directory.mkdir(parents=True, exist_ok=True)
    _doubles(directory / "columns.bin", design.columns())
    _doubles(directory / "weight_g.bin", design.weight_g)
    _doubles(directory / "log_hours.bin", design.log_hours)
    penalties = [penalty.ravel() for block in design.blocks for penalty in block.penalties]
    _doubles(directory / "penalties.bin", np.concatenate(penalties))
    _doubles(directory / "chosen.bin", design.chosen().astype(np.float64))
    blocks = [f"{block.name},{block.columns.shape[1]},{len(block.penalties)}" for block in design.blocks]
    (directory / "blocks.csv").write_text("\n".join(["name,size,penalties", *blocks]) + "\n")
    club = f"rows,{rows}\nseed,{seed}\nused,{len(design.weight_g)}\nfingerprint,{design.fingerprint()}\n"
    (directory / "club.csv").write_text("key,value\n" + club)


def _doubles(path: Path, array: np.ndarray) -> None:
    path.write_bytes(np.asarray(array, dtype="<f8").tobytes(order="F"))


def main() -> None:
    parser = argparse.ArgumentParser(description="Write a simulated club's design for fit.R.")
    parser.add_argument("directory", type=Path)
    parser.add_argument("--rows", type=int, required=True)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    design = dense_design(chosen.rows, chosen.seed)
    write(design, chosen.directory, rows=chosen.rows, seed=chosen.seed)
    sys.stdout.write(f"{len(design.weight_g)} returns, {design.columns().shape[1]} columns\n")


if __name__ == "__main__":
    main()
