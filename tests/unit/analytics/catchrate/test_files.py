from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.estimates import Estimates
from analytics.catchrate.files import COLUMNS, FileProblem, read_returns
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.returns import features_of, usable_returns
from analytics.catchrate.spec import CatchSpec
from tests.simulation.club import simulate_club

#: Three returns that say everything.
ROWS: dict[str, list[Any]] = {
    "date": ["2024-05-31", "2024-06-01", "2024-06-02"],
    "water": ["Mere", "Mere", "Canal"],
    "peg": ["1", "2", "9"],
    "peg_order": [1, 2, 9],
    "angler": ["A", "B", "A"],
    "bait": ["corn", "worm", "corn"],
    "rig": ["bulk", "spread", "bulk"],
    "wind": [1, 4, 7],
    "temp_c": [15.5, 16, 17],
    "distance_m": [11, 8, 6],
    "hours": [5, 5, 3.5],
    "is_match": [True, True, False],
    "matchday": ["spring", "spring", None],
    "weight_g": [4000, 0, None],
}

Write = Callable[..., Path]


@pytest.fixture(params=["csv", "parquet"])
def write(request: pytest.FixtureRequest, tmp_path: Path) -> Write:
    """ROWS with some columns changed, or taken away by None, as a file of either format."""

    def written(**changes: list[Any] | None) -> Path:
        columns = {name: value for name, value in {**ROWS, **changes}.items() if value is not None}
        path = tmp_path / f"returns.{request.param}"
        table = pd.DataFrame(columns)
        table.to_csv(path, index=False) if request.param == "csv" else table.to_parquet(path)
        return path

    return written


def test_both_formats_give_the_frame_that_the_fit_takes(write: Write) -> None:
    file = read_returns(write())
    frame = file.frame
    assert frame["fished_on"].dt.strftime("%Y-%m-%d").tolist() == ROWS["date"]
    assert frame["hook_bait"].tolist() == ["corn", "worm", "corn"]
    assert frame["peg"].tolist() == ["1", "2", "9"]
    assert frame["match_day"].isna().tolist() == [False, False, True]
    assert frame["wind_force"].tolist() == [1, 4, 7]
    assert frame["outcome"].tolist() == ["weighed", "blank", "did_not_weigh"]
    assert usable_returns(frame).left_out == {"did_not_weigh": 1}
    assert file.absent == ("outcome", "bound_g", "session") and file.ignored == ()


def test_the_two_formats_of_one_club_fit_alike(tmp_path: Path) -> None:
    club = simulate_club(3, 300, pegs=8, anglers=8).frame
    names = {"fished_on": "date", "hook_bait": "bait", "rig_type": "rig", "match_day": "matchday"}
    table = club.rename(columns={**names, "wind_force": "wind", "water_temperature_c": "temp_c"})
    table.to_csv(tmp_path / "club.csv", index=False)
    table.to_parquet(tmp_path / "club.parquet")
    direct = fit_catch(club)
    assert isinstance(direct, Estimates)
    for name in ("club.csv", "club.parquet"):
        found = fit_catch(read_returns(tmp_path / name).frame)
        assert isinstance(found, Estimates)
        assert found.criterion == pytest.approx(direct.criterion, rel=1e-12)
        assert found.intercept == pytest.approx(direct.intercept, rel=1e-12)


def test_whatever_a_club_does_not_record_may_be_absent(write: Write) -> None:
    gone = dict.fromkeys(set(ROWS) - {"date", "hours", "weight_g"})
    file = read_returns(write(**gone))
    assert set(file.absent) == set(COLUMNS) - {"date", "hours", "weight_g"}
    assert file.frame["peg"].isna().all() and not file.frame["is_match"].any()
    assert len(usable_returns(file.frame, CatchSpec()).weight_g) == 2


@pytest.mark.parametrize("name", ["date", "hours", "weight_g"])
def test_a_fit_needs_date_hours_and_weight(write: Write, name: str) -> None:
    with pytest.raises(FileProblem, match=f"^{name}: the file has no such column$"):
        read_returns(write(**{name: None}))


def test_a_prediction_needs_no_weight(write: Write) -> None:
    assert len(read_returns(write(weight_g=None), to_fit=False).frame) == 3


@pytest.mark.parametrize(
    ("name", "cells", "told"),
    [
        ("date", ["2024-05-31", "31/05/2024", "2024-06-02"], "date, row 2: not a date"),
        ("date", ["2024-05-31", None, None], "date, row 2 (and 1 more): missing"),
        ("hours", ["5", "5", "Smith"], "hours, row 3: not a number"),
        ("hours", [5, -1, 5], "hours, row 2: below zero"),
        ("weight_g", [1.0, float("inf"), 2.0], "weight_g, row 2: not a number"),
        ("temp_c", ["cold", "15", "Smith"], "temp_c, row 1 (and 1 more): not a number"),
        ("wind", [3, 14, 2], "wind, row 2: not a Beaufort force"),
        ("is_match", ["yes", "no", "Smith"], "is_match, row 3: neither true nor false"),
        ("outcome", ["weighed", "Smith", "blank"], "outcome, row 2: not one of weighed, blank"),
        ("outcome", ["blank", "blank", None], "outcome, row 1: blank, and yet there is a weight"),
        ("session", ["a", "a", "a"], "weight_g, row 2: not the same as in an earlier row"),
    ],
)
def test_a_cell_that_cannot_be_read_is_named_by_column_and_row(
    write: Write, name: str, cells: list[Any], told: str
) -> None:
    with pytest.raises(FileProblem) as problem:
        read_returns(write(**{name: cells}))
    assert str(problem.value).startswith(told)
    assert "Smith" not in str(problem.value)


def test_numbers_and_days_as_names_are_the_same_words_in_both_formats(write: Write) -> None:
    frame = read_returns(write(angler=[7, 12, 7], bait=[3, None, 3], matchday=["2024-05-31"] * 3)).frame
    assert frame["angler"].tolist() == ["7", "12", "7"]
    # pandas writes the 3 beside a missing cell as 3.0.
    assert frame["hook_bait"].dropna().tolist() == ["3", "3"]
    assert frame["match_day"].dropna().tolist() == ["2024-05-31"] * 2


def test_wind_in_words_makes_classes_beside_those_of_the_forces(write: Write) -> None:
    features, _ = features_of(read_returns(write(wind=["calm", "5", None])).frame)
    assert features["wind"].words().tolist() == ["calm", "4-5", "unknown"]


def test_forces_written_in_a_text_column_are_forces(write: Write) -> None:
    features, _ = features_of(read_returns(write(wind=["2", "5", None])).frame)
    assert features["wind"].words().tolist() == ["2-3", "4-5", "unknown"]


def test_one_peg_name_on_two_waters_is_two_pegs(write: Write) -> None:
    file = read_returns(write(peg=["1", "2", "1"]))
    assert file.frame["peg"].tolist() == ["Mere/1", "2", "Canal/1"]
    assert file.home_waters == {"2": "Mere"}


def test_a_later_file_is_told_its_pegs_apart_as_the_fit_did(write: Write) -> None:
    homes = {"1": "Mere"}
    frame = read_returns(write(peg=["1", "2", "1"], water=["Mere", None, "Canal"]), homes).frame
    assert frame["peg"].tolist() == ["1", "2", "Canal/1"]


def test_without_is_match_a_match_is_where_a_match_day_is_named(write: Write) -> None:
    assert read_returns(write(is_match=None)).frame["is_match"].tolist() == [True, True, False]
    assert read_returns(write(is_match=["true", None, None])).frame["is_match"].tolist() == [
        True,
        True,
        False,
    ]


def test_a_match_day_means_nothing_in_a_pleasure_session(write: Write) -> None:
    frame = read_returns(write(matchday=["spring", "spring", "none"])).frame
    assert frame["match_day"].isna().tolist() == [False, False, True]


def test_parts_of_a_session_share_its_total_wherever_it_is_written(write: Write) -> None:
    frame = read_returns(write(session=["a", "a", None], weight_g=[None, 900, 100])).frame
    assert frame["weight_g"].tolist() == [900, 900, 100]
    returns = usable_returns(frame)
    assert sorted(returns.weight_g) == [100, 900] and returns.session is not None


def test_an_outcome_that_is_given_stands(write: Write) -> None:
    frame = read_returns(write(outcome=["over_net_limit", None, None], bound_g=[4000, None, 3000])).frame
    assert frame["outcome"].tolist() == ["over_net_limit", "blank", "did_not_weigh"]
    assert frame["bound_g"].fillna(-1).tolist() == [4000, -1, 3000]


def test_columns_that_mean_nothing_here_are_named(write: Write) -> None:
    assert read_returns(write(angler=None, anglr=["A", "B", "A"])).ignored == ("anglr",)


def test_no_rows_are_a_frame_of_no_rows(write: Write) -> None:
    frame = read_returns(write(**{name: [] for name in ROWS})).frame
    assert len(frame) == 0 and len(usable_returns(frame).weight_g) == 0


@pytest.mark.parametrize("name", ["returns.csv", "returns.parquet"])
def test_a_file_that_is_none_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(FileProblem, match="there is no such file"):
        read_returns(tmp_path / name)
    (tmp_path / name).write_bytes(b"\xff\xfe\x00" if name.endswith("csv") else b"no parquet")
    with pytest.raises(FileProblem, match="cannot be read as"):
        read_returns(tmp_path / name)


def test_a_format_that_nobody_promised_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match=r"must end in \.parquet or \.csv"):
        read_returns(tmp_path / "returns.xlsx")


def test_dates_may_be_days_or_times_of_any_zone(tmp_path: Path) -> None:
    path = tmp_path / "returns.parquet"
    night = pd.Series(pd.to_datetime(["2024-05-31 23:30"] * 3)).dt.tz_localize("Europe/London")
    for dates in (night, night.dt.tz_localize(None), night.dt.date):
        pd.DataFrame({**ROWS, "date": dates}).to_parquet(path)
        assert read_returns(path).frame["fished_on"].unique().tolist() == [pd.Timestamp("2024-05-31")]


def test_a_byte_order_mark_is_not_a_part_of_the_first_name(tmp_path: Path) -> None:
    path = tmp_path / "returns.csv"
    pd.DataFrame(ROWS).to_csv(path, index=False, encoding="utf-8-sig")
    assert "date" not in read_returns(path).absent


def test_names_of_numbers_keep_their_zeros_in_a_csv(tmp_path: Path) -> None:
    path = tmp_path / "returns.csv"
    path.write_text("date,hours,weight_g,peg\n2024-05-31,5,100,007\n2024-05-31,5,,7\n")
    assert read_returns(path).frame["peg"].tolist() == ["007", "7"]
    assert np.isnan(read_returns(path).frame["weight_g"].iloc[1])
