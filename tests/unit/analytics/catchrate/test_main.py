import fcntl
import json
import os
import struct
import subprocess
import sys
import termios
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.__main__ import main
from tests.simulation.club import simulate_club

NAMES = {
    "fished_on": "date",
    "hook_bait": "bait",
    "rig_type": "rig",
    "wind_force": "wind",
    "water_temperature_c": "temp_c",
    "match_day": "matchday",
}


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    """A club's returns as a file has them; every fifth was not weighed."""
    returns = simulate_club(5, 600, pegs=12, anglers=12).frame.rename(columns=NAMES).drop(columns="outcome")
    returns.loc[::5, "weight_g"] = np.nan
    return returns


@pytest.fixture(scope="module")
def folder(table: pd.DataFrame, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The returns as Parquet and CSV, and a fit of them."""
    folder = tmp_path_factory.mktemp("club")
    table.to_parquet(folder / "returns.parquet")
    table.to_csv(folder / "returns.csv", index=False)
    assert main(["fit", f"{folder}/returns.parquet", "--out", f"{folder}/fit.json", "--quiet"]) == 0
    return folder


def test_a_fit_writes_its_document_and_says_what_came_of_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["fit", f"{folder}/returns.csv", "--out", f"{folder}/csv.json"]) == 0
    said = capsys.readouterr()
    assert "480 returns used" in said.out and "120 did not weigh" in said.out
    # No terminal, no progress line.
    assert said.err == ""
    first, second = (json.loads((folder / name).read_text()) for name in ("fit.json", "csv.json"))
    assert first["criterion"] == pytest.approx(second["criterion"], rel=1e-12)


def test_on_a_terminal_one_line_is_written_over(folder: Path) -> None:
    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))
    asked = [sys.executable, "-m", "analytics.catchrate", "fit", f"{folder}/returns.csv"]
    subprocess.run(
        [*asked, "--out", f"{folder}/tty.json"], stderr=theirs, stdout=subprocess.DEVNULL, check=True
    )
    shown = os.read(ours, 1 << 16).decode()
    os.close(ours)
    os.close(theirs)
    assert "reading the returns" in shown and "iteration 2, largest gradient" in shown
    assert "\n" not in shown


def test_quiet_says_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fit", f"{folder}/returns.csv", "--out", f"{folder}/quiet.json", "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")


def test_predictions_stand_row_by_row_in_the_order_of_the_file(folder: Path, table: pd.DataFrame) -> None:
    for name in ("returns.parquet", "returns.csv"):
        out = folder / f"{name}.predictions.csv"
        assert main(["predict", f"{folder}/fit.json", f"{folder}/{name}", "--out", str(out)]) == 0
        found = pd.read_csv(out)
        assert found.columns.tolist() == ["eta", "eta_se", "expected_g"]
        assert len(found) == len(table)
        known = table["weight_g"] > 0
        # Truth is what was weighed: predictions of the fitted rows must follow it closely.
        assert np.corrcoef(found["eta"][known], np.log(table["weight_g"][known]))[0, 1] > 0.6
    reversed_rows = table.iloc[::-1]
    reversed_rows.to_parquet(folder / "reversed.parquet")
    main(["predict", f"{folder}/fit.json", f"{folder}/reversed.parquet", "--out", f"{folder}/reversed.csv"])
    backwards = pd.read_csv(folder / "reversed.csv")[::-1].reset_index(drop=True)
    pd.testing.assert_frame_equal(backwards, found, rtol=1e-12)


def test_a_power_that_is_given_is_kept(folder: Path) -> None:
    assert main(["fit", f"{folder}/returns.csv", "--out", f"{folder}/p.json", "--quiet", "--p", "1.6"]) == 0
    assert json.loads((folder / "p.json").read_text())["p"] == 1.6


@pytest.mark.parametrize(("choice", "used"), [("left-out", 480), ("as-zero", 600), ("censored", 600)])
def test_did_not_weigh_is_taken_as_one_asks(folder: Path, choice: str, used: int) -> None:
    out = folder / f"{choice}.json"
    command = ["fit", f"{folder}/returns.csv", "--out", str(out), "--quiet", "--did-not-weigh", choice]
    assert main(command) == 0
    assert json.loads(out.read_text())["rows"]["used"] == used


def test_a_fit_may_begin_from_an_earlier_one(folder: Path) -> None:
    start = ["--start", f"{folder}/fit.json"]
    assert main(["fit", f"{folder}/returns.csv", "--out", f"{folder}/warm.json", "--quiet", *start]) == 0
    cold, warm = (json.loads((folder / name).read_text()) for name in ("fit.json", "warm.json"))
    assert warm["iterations"] < cold["iterations"]
    assert warm["criterion"] == pytest.approx(cold["criterion"], abs=1e-4)


def test_a_refusal_is_told_written_and_has_a_code_of_its_own(
    folder: Path, table: pd.DataFrame, capsys: pytest.CaptureFixture[str]
) -> None:
    table.head(30).to_csv(folder / "few.csv", index=False)
    assert main(["fit", f"{folder}/few.csv", "--out", f"{folder}/few.json"]) == 2
    told, written = capsys.readouterr().err, (folder / "few.json").read_text()
    assert told == written
    assert json.loads(told)["code"] == "too_few_returns" and json.loads(told)["needed"] == 60


def test_a_prediction_from_a_refusal_is_an_error(
    folder: Path, table: pd.DataFrame, capsys: pytest.CaptureFixture[str]
) -> None:
    table.head(30).to_csv(folder / "few.csv", index=False)
    main(["fit", f"{folder}/few.csv", "--out", f"{folder}/few.json"])
    capsys.readouterr()
    assert main(["predict", f"{folder}/few.json", f"{folder}/few.csv", "--out", f"{folder}/none.csv"]) == 1
    assert "refusal" in capsys.readouterr().err and not (folder / "none.csv").exists()


def test_a_file_that_is_wrong_is_told_in_one_line(
    folder: Path, table: pd.DataFrame, capsys: pytest.CaptureFixture[str]
) -> None:
    table.assign(hours=-1).to_csv(folder / "wrong.csv", index=False)
    assert main(["fit", f"{folder}/wrong.csv", "--out", f"{folder}/wrong.json"]) == 1
    assert capsys.readouterr().err == "error: hours, row 1 (and 599 more): below zero\n"
    assert not (folder / "wrong.json").exists()


def test_a_folder_that_is_not_there_is_told_before_the_fit(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["fit", f"{folder}/none.csv", "--out", f"{folder}/no/where/fit.json"]) == 1
    assert "folder of --out" in capsys.readouterr().err


def test_what_cannot_be_written_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["predict", f"{folder}/fit.json", f"{folder}/returns.csv", "--out", str(folder)]) == 1
    assert capsys.readouterr().err == "error: --out cannot be written\n"


def test_no_rows_get_no_predictions(folder: Path, table: pd.DataFrame) -> None:
    table.head(0).to_csv(folder / "no.csv", index=False)
    assert main(["predict", f"{folder}/fit.json", f"{folder}/no.csv", "--out", f"{folder}/none.csv"]) == 0
    assert (folder / "none.csv").read_text() == "eta,eta_se,expected_g\n"
    (folder / "none.csv").unlink()


@pytest.mark.parametrize("power", ["1", "2", "0.5", "nan", "many"])
def test_a_power_that_is_none_is_refused(folder: Path, power: str) -> None:
    with pytest.raises(SystemExit):
        main(["fit", f"{folder}/returns.csv", "--out", f"{folder}/p.json", "--p", power])


@pytest.mark.parametrize("command", [[], ["fit"], ["predict"]])
def test_help_teaches_columns_and_an_example(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main([*command, "--help"])
    said = capsys.readouterr().out
    for told in ("example:", "uv run python -m analytics.catchrate", "weight_g", "matchday", "Beaufort"):
        assert told in said


THREADS = """
import json, runpy, sys, threadpoolctl
sys.argv = ["a program", "--help"]
try:
    runpy.run_module(MODULE, run_name="__main__")
except SystemExit:
    pass
print()
print(json.dumps([pool["num_threads"] for pool in threadpoolctl.threadpool_info()]))
"""


@pytest.mark.parametrize("asked", [None, 2])
def test_linear_algebra_has_one_thread_unless_the_caller_says_otherwise(asked: int | None) -> None:
    chosen = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    if asked:
        names = ("OPENBLAS", "OMP", "MKL")
        chosen |= {f"{name}_NUM_THREADS": str(asked) for name in names}
    code = THREADS.replace("MODULE", repr("analytics.catchrate"))
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=chosen
    )
    pools = json.loads(done.stdout.splitlines()[-1])
    # No library has more threads than there are cores.
    assert pools and set(pools) == {min(asked or 1, os.cpu_count() or 1)}
