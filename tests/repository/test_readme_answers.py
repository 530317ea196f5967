"""What the README shows as answers, the demo's club answers; and the requests that the demo prints work.

The club is set up, imported, fitted and studied once for all of them, as the demo does it. Weights and
chances that come from random draws differ a little from one installation to the next; everything else is
compared to the last digit shown.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone
from rest_framework.response import Response
from rest_framework.test import APIClient

from analytics.answers.trends import BY
from analytics.requests import request_fit, request_study
from analytics.worker.work import run_job
from api.management.examples import examples_of
from api.management.people import Person, fresh_people
from clubdata.demo.files import CLUB_FILE, RETURNS_FILE
from clubdata.intake import uploads
from clubdata.models import Club, Job, JobKind, JobState, Water
from clubdata.services.clubs import setup_club
from clubdata.services.jobs import request_job

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

README = (Path(__file__).resolve().parents[2] / "README.md").read_text()
PLAIN = " ".join(README.split())
# Under these names an answer holds what was drawn at random. The slack is three standard errors of the
# difference of two installations: of 10,000 matches the peg that wins least wins some 280.
DRAWN, DRAWN_SLACK = {"summary"}, 0.3
SECTIONS = ("A member", "A match organiser", "An analyst")


@dataclass
class Demo:
    """The demo's club, its people and what came of its sheet."""

    club: Club
    people: list[Person]
    landed: dict[str, Any]

    def ask(self, person: int, path: str, body: str = "") -> Response:
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {self.people[person].token}")
        return client.post(path, body, content_type="application/json") if body else client.get(path)

    def path(self, shown: str) -> str:
        """An address of the README with what its variables stand for."""
        water = Water.objects.get(club=self.club, name="Heron Mere").uid
        fit = Job.objects.get(club=self.club, kind=JobKind.FIT).uid
        known = {"$CLUB": "/api/v1/clubs/heron", "$WATER": str(water), "$FIT": str(fit)}
        for name, value in known.items():
            shown = shown.replace(name, value)
        return shown

    def answers(self, section: str) -> dict[str, Response]:
        """What the requests of a section get, asked as its person."""
        shown = re.findall(r'^ask "([^"$]*\$CLUB/[^"]*)"', section_of(section), flags=re.MULTILINE)
        person = SECTIONS.index(section)
        return {path: self.ask(person, self.path(path)) for path in shown if "uid_of" not in path}


def section_of(title: str) -> str:
    """The README's section of this title."""
    return README.split(f"\n## {title}")[1].split("\n## ")[0]


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: Any) -> Iterator[Demo]:
    with django_db_blocker.unblock(), transaction.atomic():
        now = timezone.now()
        description = json.loads(CLUB_FILE.read_text(encoding="utf-8"))
        club = setup_club(description=description, actor=None, now=now).club
        with RETURNS_FILE.open("rb") as source:
            sheet = {"path": uploads.keep(source), "dry_run": False, "file_name": RETURNS_FILE.name}
        landed = worked(request_job(club=club, kind=JobKind.IMPORT, payload=sheet, actor=None, now=now))
        worked(request_fit(club=club, actor=None, now=timezone.now()))
        worked(request_study(club=club, now=timezone.now()))
        club.refresh_from_db()
        yield Demo(club, list(fresh_people(club=club, now=timezone.now())), landed.result)
        transaction.set_rollback(True)


def worked(job: Job) -> Job:
    run_job(job_id=job.pk, clock=timezone.now)
    job.refresh_from_db()
    assert job.state == JobState.FINISHED, (job.reason_code, job.reason)
    return job


@pytest.mark.parametrize("section", SECTIONS)
def test_every_request_in_it_is_answered(demo: Demo, section: str) -> None:
    answers = demo.answers(section)
    assert len(answers) >= 2
    assert {path: answer.status_code for path, answer in answers.items()} == dict.fromkeys(answers, 200)


@pytest.mark.parametrize("section", SECTIONS)
def test_the_json_in_it_is_part_of_an_answer(demo: Demo, section: str) -> None:
    answers = [json.loads(a.content) for a in demo.answers(section).values() if "json" in a["Content-Type"]]
    shown = list(shortened(section_of(section)))
    assert shown
    for part in shown:
        # Answers to the same kind of question have the same names.
        alike = [answer for answer in answers if part.keys() <= answer.keys()]
        assert min((list(differences(part, answer)) for answer in alike), key=len) == []


def test_the_choices_are_those_of_the_advice(demo: Demo) -> None:
    answer = json.loads(next(iter(demo.answers("A member").values())).content)
    rows = table("| choice |")
    assert len(rows) == len(answer["choices"])
    for cells, choice in zip(rows, answer["choices"], strict=True):
        tackle = (choice["hook_bait"]["name"], f"{choice['distance_m']:g} m", choice["rig_type"]["name"])
        interval = f"{choice['lower_lb_oz']} to {choice['upper_lb_oz']}"
        fixed = [", ".join(tackle), choice["expected_lb_oz"], interval, choice["how_much_we_know"]]
        assert [*cells[:3], cells[7]] == fixed
        session = {point["share"]: point["weight_g"] for point in choice["one_session"]["percentiles"]}
        under, over = cells[3].split(", ")
        # Quantiles of 1,000 sessions, each with three standard errors of a difference.
        assert grams(under) == pytest.approx(session[0.1], abs=400)
        assert grams(over) == pytest.approx(session[0.9], rel=0.2)
        blank = choice["one_session"]["chance_of_blank"]
        assert 1 / int(cells[4].removeprefix("1 in ")) == pytest.approx(blank, abs=0.01)
        assert float(cells[5]) == pytest.approx(choice["chance_best"], abs=0.01)
        assert grams(cells[6]) == pytest.approx(choice["regret_g"], abs=120)


def test_what_it_says_of_advice_is_so(demo: Demo) -> None:
    answer = json.loads(next(iter(demo.answers("A member").values())).content)
    assert answer["reference"]["sentence"].removesuffix(".") in PLAIN
    tilepit = Water.objects.get(club=demo.club, name="Tilepit Pool").uid
    asked = "month=1&baits=worm;punched+bread;expander+pellet"
    little_known = demo.ask(0, demo.path(f"$CLUB/waters/{tilepit}/advice/?{asked}")).json()["choices"]
    bread = next(choice for choice in little_known if choice["hook_bait"]["name"] == "punched bread")
    assert bread["worth_trying"]


def test_the_return_in_it_comes_back_as_it_says(demo: Demo) -> None:
    body = re.search(r"-d '(\{.*?\})'$", section_of("A member"), flags=re.DOTALL | re.MULTILINE)
    assert body is not None
    handed_in = demo.ask(0, demo.path("$CLUB/returns/"), body[1])
    answer = handed_in.json()
    assert handed_in.status_code == 201
    assert (answer["weight"]["grams"], answer["weight"]["as_typed"]) == (5670, "12lb 8oz")
    assert answer["parts"][0]["hook_bait"]["name"] == "caster"
    assert answer["parts"][0]["rig_type"]["name"] == "spread shot"
    assert {"sunrise", "sunset", "moon_phase"} <= set(answer["sky"])


def test_the_pegs_stand_as_it_says(demo: Demo) -> None:
    answer = json.loads(next(iter(demo.answers("A match organiser").values())).content)
    form = {peg["peg"]["label"]: peg for peg in answer["pegs"]}
    assert f"(three of {len(form)})" in README
    for label, multiplier, interval, lies, ranks, raw, returns in table("| peg |"):
        standing, record = form[label]["standing"], form[label]["record"]
        assert multiplier == two_places(standing["multiplier"])
        assert interval == f"{two_places(standing['lower_90'])} to {two_places(standing['upper_90'])}"
        assert lies == standing["in_words"]
        assert (raw, returns) == (record["raw_lb_oz_per_hour"], str(record["returns"]))
        drawn = [standing["rank_from_90"], standing["rank_to_90"]]
        assert [int(rank) for rank in ranks.split(" to ")] == pytest.approx(drawn, abs=1)


def test_the_sheet_lands_as_it_says(demo: Demo) -> None:
    read, landed, refused, twice = (
        f"{demo.landed[name]:,}" for name in ("rows_read", "landed", "refused", "duplicates")
    )
    assert f"{read} rows read: {landed} landed, {refused} refused, {twice} duplicates" in README
    assert f"({landed}, {refused} and {twice} of {read} when" in PLAIN
    problem = next(problem for problem in demo.landed["problems"] if problem["line"] == 644)
    assert f'line 644, "{problem["message"]}"' in PLAIN


def test_the_fit_stands_as_it_says(demo: Demo) -> None:
    validation = demo.ask(2, demo.path("$CLUB/fits/$FIT/")).json()["run"]["validation"]
    assert f"{validation['tested']:,} returns since November 2023" in README
    assert validation["first_test_day"] == "2023-11-01"
    rows = table("| 1,158 returns")
    assert [cells[0] for cells in rows] == [score["method"] for score in validation["scores"]]
    for cells, score in zip(rows, validation["scores"], strict=True):
        assert cells[1] == f"{score['deviance']:.2f}"
        assert float(cells[2].replace(",", "")) == pytest.approx(score["crps_g"], rel=0.02)
        coverage = [100 * score["coverage_50"], 100 * score["coverage_90"]]
        assert [float(cell.removesuffix(" %")) for cell in cells[3:]] == pytest.approx(coverage, abs=2.5)


def test_it_names_every_trend() -> None:
    assert all(f"`{by}`" in section_of("An analyst") or f"by={by}" in README for by in BY)


def test_the_requests_that_the_demo_prints_are_answered(demo: Demo) -> None:
    examples = examples_of(demo.club, demo.people)
    assert {example.person for example in examples} == set(demo.people)
    for example in examples:
        answer = demo.ask(demo.people.index(example.person), example.path, example.body)
        assert answer.status_code == (201 if example.body else 200), example.title
        ending = example.save_as.rpartition(".")[2] or "json"
        assert ending in answer["Content-Type"], example.title


def table(opening: str) -> list[list[str]]:
    """The rows of the table whose header begins so."""
    lines = README[README.index(f"\n{opening}") + 1 :].split("\n\n")[0].splitlines()
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def two_places(value: float) -> str:
    return f"{value:.2f}".removeprefix("0")


def grams(shown: str) -> float:
    """Of '1 lb 8 oz', '27 lb' or '6 oz'."""
    told = {unit: int(number) for number, unit in re.findall(r"(\d+) (lb|oz)", shown)}
    return (16 * told.get("lb", 0) + told.get("oz", 0)) * 28.349523125


def shortened(section: str) -> Iterator[dict[str, Any]]:
    """The JSON of a section, without what it leaves out, each number as it was written."""
    for block in re.findall(r"^```\n(\{.*?)^```", section, flags=re.DOTALL | re.MULTILINE):
        text = re.sub(r", …(?=[\]}])", "", block).replace("{…}", "{}")
        reader = json.JSONDecoder(parse_float=Decimal)
        while text.strip():
            part, end = reader.raw_decode(text.strip())
            yield part
            text = text.strip()[end:]


def differences(shown: Any, answer: Any, path: str = "") -> Iterator[str]:
    """Where what is shown is no part of the answer: names and items may be left out, and ends of texts."""
    drawn = bool(DRAWN & set(path.split(".")))
    match shown:
        case dict() if isinstance(answer, dict):
            for name, value in shown.items():
                yield from differences(value, answer.get(name), f"{path}.{name}")
        case list() if isinstance(answer, list) and len(shown) <= len(answer):
            for place, value in enumerate(shown):
                yield from differences(value, answer[place], f"{path}.{place}")
        case str() if isinstance(answer, str):
            if not same_text(shown, answer, drawn=drawn):
                yield f"{path}: {shown!r} is {answer!r}"
        case bool() | None:
            if shown is not answer:
                yield f"{path}: {shown} is {answer}"
        case int() | Decimal() if isinstance(answer, int | float):
            if not same_number(shown, answer, drawn=drawn):
                yield f"{path}: {shown} is {answer}"
        case _:
            yield f"{path}: {shown!r} is {answer!r}"


def same_number(shown: int | Decimal, answer: float, *, drawn: bool) -> bool:
    step = 10.0 ** int(Decimal(shown).as_tuple().exponent)
    slack = DRAWN_SLACK * abs(answer) if drawn else 0.0
    return abs(float(shown) - answer) <= step / 2 + 1e-9 + slack


def same_text(shown: str, answer: str, *, drawn: bool) -> bool:
    if shown.endswith("…"):
        return answer.startswith(shown.removesuffix("…"))
    if not drawn:
        return shown == answer
    number = r"\d+(?:\.\d+)?"
    pairs = zip(re.findall(number, shown), re.findall(number, answer), strict=False)
    near = all(same_number(Decimal(one), float(other), drawn=True) for one, other in pairs)
    return near and re.sub(number, "#", shown) == re.sub(number, "#", answer)
