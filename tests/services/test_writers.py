"""Several writers at once on SQLite: nobody is told of a lock, and a member does not wait."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from clubdata.demo.files import RETURNS_FILE
from tests.services.stage import Stage, wait_for

pytestmark = pytest.mark.slow

ROWS = 15_000
HAND_INS = 100
FITS = 3


def long_sheet(path: Path) -> Path:
    """A sheet of the club's own kind, `ROWS` long, in which no session occurs twice."""
    first = date(1990, 1, 1)
    heads = "Date,Water,Peg,Member,Session,Match,Hours,Hook bait,Distance,Rig,Wind,Water temp,Weight,Notes"
    lines = [heads]
    for row in range(ROWS):
        day = first + timedelta(days=row // 20)
        peg, member = row % 20 + 1, 104 + row % 20
        lines.append(f"{day:%d/%m/%Y},Heron Mere,{peg},M0{member},Pleasure,,5,caster,11,spread,2,12,3-6-0,")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_an_import_fits_and_hand_ins_write_at_once(files: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    office, fitter = files.office(), files.office()
    office("open_club")
    files.start("-m", "analytics.worker")
    first = office("want_import", sheet=str(RETURNS_FILE))
    office("ring", job_id=first)
    wait_for(lambda: office("job", job_id=first)["state"] == "finished", what="the first import")

    second = office("want_import", sheet=str(long_sheet(files.folder / "long.csv")))
    office("ring", job_id=second)
    wait_for(lambda: office("job", job_id=second)["state"] == "running", what="the long import's start")
    fitter.ask("fit_many", number=FITS)
    took = office("hand_in_many", number=HAND_INS)

    assert fitter.answer() == ["finished"] * FITS
    wait_for(lambda: office("job", job_id=second)["state"] != "running", what="the long import's end")
    imports = [office("job", job_id=job_id) for job_id in (first, second)]
    assert [job["state"] for job in imports] == ["finished", "finished"]
    landed = sum(job["result"]["landed"] for job in imports)
    assert office("counts") == {"returns": landed + HAND_INS, "fits": FITS}
    with capsys.disabled():
        told = {name: f"{seconds * 1000:.0f} ms" for name, seconds in took.items()}
        print(f"\nhand-ins during an import of {ROWS:,} rows and {FITS} fits: {told}")  # noqa: T201
