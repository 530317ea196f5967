"""Trends as answers: standardised beside raw, years compared, and what an ordinary member is not shown."""

from dataclasses import asdict
from datetime import date
from typing import Any
from uuid import uuid4

import numpy as np
import pytest

from analytics.answers import trends_points
from analytics.answers.raw import WITHHELD, RawFigures
from analytics.answers.standard import Interval
from analytics.answers.trends import BY, TrendQuestion, Trends, trends
from analytics.answers.trends_comparison import OtherReading, YearComparison, disagreements, reading_of
from analytics.answers.trends_wording import NOT_STOCK_SIZE, RAW_ALONE
from analytics.answers.water_trends import water_trends
from analytics.models import FitRun
from analytics.observed import sessions
from clubdata.errors import InvalidInput, NotFound
from clubdata.models import Member, Species, WaterEvent
from tests.factories import make_club, make_word
from tests.unit.analytics.conftest import StoredClub, fit_now
from tests.unit.analytics.test_groups import tell_species
from tests.unit.analytics.test_study import FITS, some_did_not_weigh, study_now


def ask(stored: StoredClub, *, sees_all: bool = True, **question: Any) -> Trends:
    return trends(club=stored.club, question=TrendQuestion(**question), sees_all=sees_all)


def test_every_trend_of_the_club_and_of_a_water_has_values_beside_raw_ones(fitted_club: StoredClub) -> None:
    water = fitted_club.waters["water 0"].uid
    for by in set(BY) - {"species", "effort"}:
        for answer in (ask(fitted_club, by=by), ask(fitted_club, by=by, water=water)):
            both = [
                point for point in answer.points if point.standardised is not None and point.raw is not None
            ]
            assert len(both) > 2 and answer.no_trends is None, by
            for point in both:
                assert point.standardised is not None
                ends = list(asdict(point.standardised).values())
                assert sorted(ends[1:]) == [ends[3], ends[1], ends[2], ends[4]]
                assert ends[1] < ends[0] < ends[2]
            assert answer.reference is not None and "average angler" in answer.reference.sentence
            assert NOT_STOCK_SIZE in answer.notes


def test_months_follow_the_raw_rates_of_the_club(fitted_club: StoredClub) -> None:
    points = ask(fitted_club, by="month").points
    logs = [
        (np.log(point.standardised.estimate), np.log(point.raw.g_per_rod_hour))
        for point in points
        if point.standardised is not None and point.raw is not None and point.raw.g_per_rod_hour
    ]
    assert len(logs) == 12 and np.corrcoef(np.array(logs).T)[0, 1] > 0.8


def test_a_named_year_narrows_raw_months_to_its_own(fitted_club: StoredClub) -> None:
    found = ask(fitted_club, by="month", year=2020)
    of_year = fitted_club.frame["fished_on"].dt.year == 2020
    shown = [point.raw.returns for point in found.points if point.raw is not None]
    assert sum(count for count in shown if count) == int(of_year.sum())
    months = ask(fitted_club, by="year-month", year=2020).points
    assert {point.year for point in months} == {"2020"}


def test_a_year_that_nobody_fished_has_no_trend(fitted_club: StoredClub) -> None:
    found = ask(fitted_club, by="month", year=1999)
    assert found.no_trends is not None and found.no_trends.code == "year_not_fished"
    assert "2019 to 2021" in found.no_trends.reason and found.points == ()


def test_years_are_compared_and_told_by_other_returns_and_readings(stored_club: StoredClub) -> None:
    some_did_not_weigh(20)
    fit_now(stored_club.club)
    early = ask(stored_club, by="year")
    assert [item.sensitivity for item in early.comparisons] == [(), ()]
    assert any("still being made" in note for note in early.notes)
    study_now(stored_club.club)
    found = ask(stored_club, by="year")
    assert [(item.year, item.before) for item in found.comparisons] == [("2021", "2020"), ("2020", "2019")]
    for item in found.comparisons:
        assert [other.code for other in item.sensitivity] == FITS
        whole, *others = item.sensitivity
        assert whole.reading == item.reading and all(other.reading for other in others)
        assert whole.ratio is not None and whole.chance_up == pytest.approx(item.chance_up, abs=1e-6)
        assert whole.ratio.estimate == pytest.approx(item.ratio.estimate, rel=1e-6)
        assert all(
            other.ratio is not None and other.ratio.estimate != whole.ratio.estimate for other in others
        )
        estimates = {point.key: point.standardised for point in found.points}
        later, before = estimates[item.year], estimates[item.before]
        assert later is not None and before is not None
        assert item.ratio.estimate == pytest.approx(later.estimate / before.estimate)
    one = ask(stored_club, by="year", year=2020)
    assert [item.year for item in one.comparisons] == ["2020"]


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.95, "up: very likely"),
        (0.7, "up: likely"),
        (0.5, "up: about as likely as not"),
        (0.05, "down: very likely"),
    ],
)
def test_chances_read_as_the_calibrated_scale_has_them(chance: float, words: str) -> None:
    assert reading_of(chance, up="up", down="down") == words


@pytest.mark.parametrize(
    ("answered", "other", "told"),
    [
        (0.53, 0.07, True),
        (0.45, 0.92, True),
        (0.95, 0.05, True),
        (0.95, 0.5, False),
        (0.95, 0.7, False),
        (0.6, 0.6, False),
    ],
)
def test_a_reading_that_finds_a_change_where_the_answer_finds_none_is_told(
    answered: float, other: float, told: bool
) -> None:
    ratio = Interval(1.0, 0.9, 1.1, 0.8, 1.2)
    apart = OtherReading("matches_only", "matches only", 90, ratio, other, "2024 down on 2023: likely", "")
    silent = OtherReading("other", "other", None, None, None, "", "too few")
    item = YearComparison("2024", "2023", ratio, answered, "as answered", (apart, silent))
    found = disagreements((item,))
    assert len(found) == int(told)
    assert all("matches only" in text and "down on 2023" in text for text in found)


def test_standardised_values_say_why_they_lie_below_raw_ones_and_raw_ones_alone_do_not(
    fitted_club: StoredClub,
) -> None:
    for by in BY:
        notes = " ".join(ask(fitted_club, by=by).notes)
        assert ("not their heights" in notes) is (by not in RAW_ALONE), by
        assert ("standardised" in notes.lower()) is (by not in RAW_ALONE), by
    books = [
        any("On the books" in note for note in ask(fitted_club, by="effort", water=water).notes)
        for water in (None, fitted_club.waters["water 0"].uid)
    ]
    assert books == [True, False], "compliance is told of the club alone"


def test_effort_of_a_named_year_is_of_its_months_alone(fitted_club: StoredClub) -> None:
    found, whole = ask(fitted_club, by="effort", year=2020), ask(fitted_club, by="effort")
    assert found.effort == tuple(item for item in whole.effort if item.month.startswith("2020-"))
    assert [item.month[:4] for item in found.compliance] == ["2020"] * 12
    assert ask(fitted_club, by="effort", year=1999).effort == ()


def figures(answer: Trends) -> list[RawFigures]:
    return [point.raw for point in answer.points if point.raw is not None]


def test_a_member_sees_no_raw_figure_of_few_anglers_and_no_matches_apart(fitted_club: StoredClub) -> None:
    for by in ("year-month", "bait-month"):
        for water in (None, fitted_club.waters["water 0"].uid):
            full = ask(fitted_club, by=by, water=water)
            bare = ask(fitted_club, by=by, water=water, sees_all=False)
            few = [item.anglers is not None and item.anglers < 5 for item in figures(full)]
            assert any(few), by
            for hidden, shown in zip(few, figures(bare), strict=True):
                assert shown == WITHHELD if hidden else shown.anglers is None or shown.anglers >= 5
            assert all(point.raw_matches is None for point in bare.points)
            assert any(point.raw_matches is not None for point in full.points)
            assert [point.standardised for point in bare.points] == [
                point.standardised for point in full.points
            ]


def test_effort_and_compliance_add_up_and_keep_back_months_of_few(fitted_club: StoredClub) -> None:
    full = ask(fitted_club, by="effort")
    assert sum(item.rod_hours or 0.0 for item in full.effort) == pytest.approx(
        fitted_club.frame["hours"].sum()
    )
    assert {item.session_kind for item in full.effort} == {"match", "pleasure"}
    members = Member.objects.count()
    assert all(item.on_the_books == members and 0 <= (item.share or 0) <= 1 for item in full.compliance)
    bare = ask(fitted_club, by="effort", sees_all=False)
    few = [item for item in full.effort if (item.anglers or 0) < 5]
    kept_back = {(item.month, item.session_kind) for item in bare.effort if item.rod_hours is None}
    assert few and {(item.month, item.session_kind) for item in few} <= kept_back
    assert ask(fitted_club, by="effort", water=fitted_club.waters["water 0"].uid).compliance == ()


def test_species_by_weight_and_how_many_returns_tell(stored_club: StoredClub) -> None:
    tell_species(stored_club, every=2)
    fit_now(stored_club.club)
    found = ask(stored_club, by="species")
    of_all = [item for item in found.species if item.caught.year is None]
    assert [item.name for item in of_all] == ["common carp", "roach"]
    assert sum(item.caught.weight_share or 0.0 for item in of_all) == pytest.approx(1.0)
    assert all(item.caught.fish_count is None for item in found.species), "fish not counted are not no fish"
    told = next(item for item in found.told if item.year is None)
    assert told.returns is not None and told.name_species == told.tell_the_whole == pytest.approx(
        told.returns / 2, abs=1
    )
    narrowed = ask(stored_club, by="species", year=2020)
    assert {item.caught.year for item in narrowed.species} == {"2020"}


def test_a_group_of_species_has_trends_of_its_own_once_it_has_a_run(stored_club: StoredClub) -> None:
    tell_species(stored_club)
    fit_now(stored_club.club)
    assert ask(stored_club, target="carp").no_trends is not None
    study_now(stored_club.club)
    assert FitRun.objects.filter(target="carp").exists()
    carp, everything = ask(stored_club, target="carp", by="year"), ask(stored_club, by="year")
    for part, whole in zip(carp.points, everything.points, strict=True):
        assert part.raw is not None and whole.raw is not None
        assert part.raw.weight_g is not None and whole.raw.weight_g is not None
        assert 0 < part.raw.weight_g < whole.raw.weight_g
        assert part.standardised is not None
    notes = " ".join(carp.notes)
    assert "for everything caught, not for one group" in notes and "still being made" not in notes
    waters = water_trends(club=stored_club.club, target="carp", sees_all=True)
    assert waters.pairs and any(note.startswith("Of carp alone") for note in waters.notes)


def test_a_group_that_the_club_does_not_count_is_refused(fitted_club: StoredClub) -> None:
    make_word(Species, fitted_club.club, "perch", group="perch")
    with pytest.raises(InvalidInput, match="perch"):
        ask(fitted_club, target="salmon")


def test_what_happened_at_a_water_is_marked_on_its_own_trend(fitted_club: StoredClub) -> None:
    one, other = fitted_club.waters.values()
    WaterEvent.objects.create(club=fitted_club.club, water=one, kind="stocking", started_on=date(2020, 3, 1))
    assert [event.kind for event in ask(fitted_club, by="year", water=one.uid).events] == ["stocking"]
    assert [event.water for event in ask(fitted_club, by="year").events] == [one.name]
    assert ask(fitted_club, by="year", water=other.uid).events == ()


def test_waters_against_one_another(fitted_club: StoredClub) -> None:
    found = water_trends(club=fitted_club.club, target="", sees_all=True)
    assert len(found.waters) == 2 and len(found.pairs) == 1
    best, second = (item.standardised for item in found.waters)
    pair = found.pairs[0]
    assert best is not None and second is not None and best.estimate >= second.estimate
    assert pair.ratio.estimate == pytest.approx(best.estimate / second.estimate)
    assert pair.water == found.waters[0].name and pair.chance_higher >= 0.5
    counts = fitted_club.frame.groupby("water").size()
    assert {item.name: item.raw.returns for item in found.waters if item.raw} == dict(counts)


@pytest.mark.django_db
def test_without_a_fit_it_says_so() -> None:
    club = make_club("empty")
    for by in BY:
        found = trends(club=club, question=TrendQuestion(by=by), sees_all=True)
        assert found.no_trends is not None and found.no_trends.code == "no_fit"
    compared = water_trends(club=club, target="", sees_all=True)
    assert compared.no_trends is not None and compared.no_trends.code == "no_fit"


def test_a_water_of_no_or_another_club_is_not_found(fitted_club: StoredClub) -> None:
    with pytest.raises(NotFound):
        ask(fitted_club, water=uuid4())


def test_a_damaged_fit_is_told_and_hides_nothing(fitted_club: StoredClub) -> None:
    from analytics import store

    store.forget()
    FitRun.objects.update(covariance_sha256="0" * 64)
    found = ask(fitted_club)
    assert found.no_trends is not None and found.no_trends.code == "fit_damaged"


def test_the_web_process_knows_the_bins_without_loading_what_counts_them() -> None:
    assert trends_points.DISTANCE_BIN_M == sessions.DISTANCE_BIN_M
    assert trends_points.TEMPERATURE_BIN_C == sessions.TEMPERATURE_BIN_C
