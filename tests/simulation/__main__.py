"""Write an invented club's returns as a file: `uv run python -m tests.simulation returns.csv`."""

import argparse
from pathlib import Path

from tests.simulation.club import simulate_club

#: Column of the fit's frame to column of a file.
NAMES = {
    "fished_on": "date",
    "hook_bait": "bait",
    "rig_type": "rig",
    "wind_force": "wind",
    "water_temperature_c": "temp_c",
    "match_day": "matchday",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path, help="a .csv or .parquet file")
    parser.add_argument("--returns", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    table = simulate_club(chosen.seed, chosen.returns).frame.rename(columns=NAMES)
    if chosen.file.suffix == ".parquet":
        table.to_parquet(chosen.file)
    else:
        table.to_csv(chosen.file, index=False)


if __name__ == "__main__":
    main()
