"""What the returns say of a rule: planted effects are found, confounding is not, few returns say nothing."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from analytics.answers.rule_evidence import RuleEvidence, Sight, evidence_of, rate_ratio
from clubdata.models import Conditions, HookBait, Member, Return
from tests.factories import NOW, SmallClub, make_member, make_return, make_word

pytestmark = pytest.mark.django_db
_turn = count()


@pytest.fixture
def anglers(heron_small: SmallClub) -> list[Member]:
    return [make_member(heron_small.club, f"E{number}") for number in range(8)]


def of(small: SmallClub, rule: str) -> RuleEvidence:
    return next(one for one in evidence_of(club=small.club).rules if one.rule == rule)


def fish(member: Member, peg: Any, on: date, weight_g: int, part: dict[str, Any], **more: Any) -> Return:
    outcome = {"outcome": "blank", "weight_g": 0} if not weight_g else {"weight_g": weight_g}
    typed = {} if not weight_g else {"weight_typed": f"{weight_g} g"}
    return make_return(member, peg, fished_on=on, part=part, **{**outcome, **typed, **more})


@pytest.fixture
def corn(heron_small: SmallClub) -> HookBait:
    found: HookBait = make_word(HookBait, heron_small.club, "sweetcorn")
    return found


def fish_for_size(
    small: SmallClub, anglers: list[Member], corn: HookBait, *, on_corn_g: float, sessions: int = 40
) -> None:
    """Fish of 100 g on maggot, of so many on corn, give or take."""
    rng = np.random.default_rng(5)
    for number in range(sessions):
        for bait, mean_g in ((small.red_maggot, 100.0), (corn, on_corn_g)):
            fish_count = int(rng.integers(8, 30))
            weight_g = int(fish_count * mean_g * rng.uniform(0.8, 1.2))
            on = date(2023, 7, 1) + timedelta(days=number)
            fish(
                anglers[number % len(anglers)], small.pegs["3"], on, weight_g, {"hook_bait": bait},
                fish_count=fish_count,
            )  # fmt: skip


@pytest.mark.parametrize(
    ("on_corn_g", "verdict"), [(180.0, "borne out"), (60.0, "not borne out"), (100.0, "undecided")]
)
def test_bigger_fish_on_corn_are_found_where_they_are(
    on_corn_g: float, verdict: str, heron_small: SmallClub, anglers: list[Member], corn: HookBait
) -> None:
    fish_for_size(heron_small, anglers, corn, on_corn_g=on_corn_g)
    found = of(heron_small, "corn-for-bigger-fish")
    assert found.verdict == verdict
    assert found.ratio == pytest.approx(on_corn_g / 100, rel=0.1)
    assert found.lower_90 is not None and found.upper_90 is not None
    assert found.lower_90 < found.ratio < found.upper_90
    assert [side.returns for side in found.sides] == [40, 40]
    assert [side.anglers for side in found.sides] == [8, 8]
    assert f"{found.ratio:.2f} times" in found.sentence


def test_a_water_of_bigger_fish_is_not_taken_for_the_bait(
    heron_small: SmallClub, anglers: list[Member], corn: HookBait
) -> None:
    """Nearly all corn is fished where every fish is five times as big, whatever the bait."""
    rng = np.random.default_rng(6)
    for number in range(120):
        is_brook = number % 2 == 0
        peg = heron_small.brook_pegs["1"] if is_brook else heron_small.pegs["3"]
        is_corn = rng.random() < (0.85 if is_brook else 0.15)
        fish_count = int(rng.integers(8, 30))
        weight_g = int(fish_count * (500 if is_brook else 100) * rng.uniform(0.8, 1.2))
        bait = corn if is_corn else heron_small.red_maggot
        on = date(2023, 7, 1) + timedelta(days=number % 60)
        fish(anglers[number % 8], peg, on, weight_g, {"hook_bait": bait}, fish_count=fish_count)
    found = of(heron_small, "corn-for-bigger-fish")
    assert mean_fish_g(corn) > 2 * mean_fish_g(heron_small.red_maggot), "taken together corn looks far better"
    assert found.ratio == pytest.approx(1, abs=0.12)


def mean_fish_g(bait: HookBait) -> float:
    sums = Return.objects.filter(parts__hook_bait=bait).aggregate(g=Sum("weight_g"), fish=Sum("fish_count"))
    return float(sums["g"] / sums["fish"])


def test_few_returns_or_few_anglers_say_nothing_and_are_not_counted_out(
    heron_small: SmallClub, anglers: list[Member], corn: HookBait
) -> None:
    fish_for_size(heron_small, anglers, corn, on_corn_g=300, sessions=29)
    assert of(heron_small, "corn-for-bigger-fish").verdict == "too few returns"
    Return.objects.all().delete()
    fish_for_size(heron_small, anglers[:4], corn, on_corn_g=300)
    found = of(heron_small, "corn-for-bigger-fish")
    assert (found.verdict, found.ratio) == ("too few returns", None)
    assert [side.anglers for side in found.sides] == [None, None]


@pytest.mark.parametrize(("long_g", "verdict"), [(4000, "borne out"), (700, "not borne out")])
def test_the_long_line_in_winter_is_told_from_the_short_one_blanks_counted_in(
    long_g: int, verdict: str, heron_small: SmallClub, anglers: list[Member]
) -> None:
    rng = np.random.default_rng(7)
    for number in range(40):
        for distance, mean_g in ((13, long_g), (6, 2000)):
            weight_g = 0 if number % 5 == 0 else int(mean_g * rng.uniform(0.5, 1.5))
            on = date(2023, 12, 1) + timedelta(days=number)
            fish(
                anglers[number % 8], heron_small.pegs["3"], on, weight_g,
                {"hook_bait": heron_small.caster, "distance_m": distance},
            )  # fmt: skip
    found = of(heron_small, "long-line-beyond-the-bank")
    assert found.verdict == verdict
    assert found.ratio == pytest.approx(long_g / 2000, rel=0.25)
    summer = date(2023, 7, 1)
    fish(anglers[0], heron_small.pegs["3"], summer, 90_000, {"distance_m": Decimal(13)})
    assert of(heron_small, "long-line-beyond-the-bank") == found, "summer says nothing of it"


def test_heavier_floats_in_wind_are_found_within_depths(
    heron_small: SmallClub, anglers: list[Member]
) -> None:
    for number in range(80):
        wind = 5 if number % 2 else 1
        depth_cm = 120 if number % 3 else 300
        float_g = (0.4 if depth_cm < 200 else 1.0) * (1.5 if wind == 5 else 1.0)
        part = {"float_g": round(float_g, 2), "depth_cm": depth_cm}
        session = fish(anglers[number // 2 % 8], heron_small.pegs["3"], date(2023, 5, 1), 500, part)
        Conditions.objects.create(club=heron_small.club, session=session, wind_force=wind)
    found = of(heron_small, "float-heavier-in-wind")
    assert found.verdict == "borne out"
    assert found.ratio == pytest.approx(1.5, rel=0.01)


def test_with_one_stratum_it_is_the_ratio_of_two_ratios_of_sums() -> None:
    """Cochran 1977, ch. 6: a rate is the sum of catches over the sum of efforts."""
    first = [(3.0, 2.0), (5.0, 1.0), (0.0, 4.0)]
    second = [(1.0, 2.0), (2.0, 3.0)]
    sights = [Sight(place, (1,), True, *one) for place, one in enumerate(first)]
    sights += [Sight(place, (1,), False, *one) for place, one in enumerate(second)]
    found = rate_ratio(sights)
    assert found is not None
    assert found[0] == pytest.approx((8 / 7) / (3 / 5))


def test_over_strata_it_is_mantel_and_haenszel_by_hand() -> None:
    """Two strata: 10/20 against 4/30, 6/10 against 9/40 (worked by hand)."""
    cells = [
        ((0,), True, 10.0, 20.0),
        ((0,), False, 4.0, 30.0),
        ((1,), True, 6.0, 10.0),
        ((1,), False, 9.0, 40.0),
    ]
    found = rate_ratio([Sight(place, *cell) for place, cell in enumerate(cells)])
    assert found is not None
    assert found[0] == pytest.approx((10 * 30 / 50 + 6 * 40 / 50) / (4 * 20 / 50 + 9 * 10 / 50))


def test_sides_that_never_meet_in_a_stratum_say_nothing() -> None:
    assert rate_ratio([Sight(1, (1,), True, 1.0, 1.0), Sight(2, (2,), False, 1.0, 1.0)]) is None


def test_it_is_one_query_however_many_returns(
    heron_small: SmallClub,
    anglers: list[Member],
    corn: HookBait,
    django_assert_num_queries: Callable[..., Any],
) -> None:
    fish_for_size(heron_small, anglers, corn, on_corn_g=100, sessions=3)
    with CaptureQueriesContext(connection) as few:
        evidence_of(club=heron_small.club)
    fish_for_size(heron_small, anglers, corn, on_corn_g=100, sessions=20)
    with django_assert_num_queries(len(few)):
        evidence_of(club=heron_small.club)


def test_what_waits_or_was_removed_says_nothing(
    heron_small: SmallClub, anglers: list[Member], corn: HookBait
) -> None:
    fish_for_size(heron_small, anglers, corn, on_corn_g=150)
    before = of(heron_small, "corn-for-bigger-fish")
    part = {"hook_bait": corn}
    odd = fish(anglers[0], heron_small.pegs["3"], date(2023, 7, 1), 400_000, part, fish_count=1)
    assert of(heron_small, "corn-for-bigger-fish") != before
    Return.objects.filter(pk=odd.pk).update(removed_at=NOW)
    assert of(heron_small, "corn-for-bigger-fish") == before
