"""Shot, line and poles against shop tables; there and back again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdata.errors import InvalidInput
from clubdata.rules.tackle import (
    SPLIT_SHOT_G,
    USUAL_POLE,
    Pole,
    feet_and_inches,
    is_lead_allowed,
    shot_g,
    shot_of,
    strength_ratio,
)

# Split shot as shops list them (public shop tables, which disagree by 0.02 g or a tenth).
LISTED = {
    "SSG": 1.6, "AAA": 0.8, "BB": 0.4, "1": 0.3, "4": 0.2, "6": 0.1, "8": 0.06, "9": 0.05, "10": 0.04,
    "11": 0.03, "12": 0.02, "13": 0.01,
}  # fmt: skip


@pytest.mark.parametrize(("size", "weight_g"), LISTED.items())
def test_a_size_weighs_what_shops_list(size: str, weight_g: float) -> None:
    assert shot_g(size) == pytest.approx(weight_g, abs=max(0.02, 0.1 * weight_g))


@pytest.mark.parametrize("size", SPLIT_SHOT_G)
def test_a_size_to_grams_and_back_is_the_size(size: str) -> None:
    assert shot_of(shot_g(size)) == size


@given(st.floats(0.005, 2.4))
def test_the_nearest_size_is_nearest_by_ratio(weight_g: float) -> None:
    found = shot_g(shot_of(weight_g))
    ratio = max(found / weight_g, weight_g / found)
    assert all(ratio <= max(one / weight_g, weight_g / one) + 1e-12 for one in SPLIT_SHOT_G.values())


@pytest.mark.parametrize("written", ["9", "No 9", "no9", "No. 9", " 9 "])
def test_a_number_is_read_as_it_is_written(written: str) -> None:
    assert shot_g(written) == 0.05


@pytest.mark.parametrize("written", ["", "7", "SSSG", "No", "0.05"])
def test_what_is_no_size_is_refused(written: str) -> None:
    with pytest.raises(InvalidInput):
        shot_g(written)


@pytest.mark.parametrize("weight_g", [0.0, -1.0, 0.004, 3.0, float("nan"), float("inf")])
def test_what_no_shot_weighs_is_refused(weight_g: float) -> None:
    with pytest.raises(InvalidInput):
        shot_of(weight_g)


@pytest.mark.parametrize(
    ("weight_g", "allowed"),
    [(0.05, True), (0.06, True), (0.1, False), (1.6, False), (28.35, False), (30.0, True)],
)
def test_lead_as_the_law_of_england_and_wales_has_it(weight_g: float, allowed: bool) -> None:
    """The Control of Pollution (Anglers' Lead Weights) Regulations, SI 1986/1992."""
    assert is_lead_allowed(weight_g) is allowed


def test_strength_goes_with_the_square_of_the_diameter() -> None:
    """From memory, unverified."""
    assert strength_ratio(0.10, 0.14) == pytest.approx(0.51, abs=0.01)


def test_a_thinner_line_of_one_make_is_the_weaker() -> None:
    assert strength_ratio(0.10, 0.18) < strength_ratio(0.14, 0.18) < 1


def test_joints_reach_a_distance() -> None:
    """Common practice, no source: a top kit, then sections of about a metre and a half."""
    assert (USUAL_POLE.joints_for(13.0), USUAL_POLE.joints_for(6.5)) == (8, 4)
    assert USUAL_POLE.joints_for(2.0) == 1


def test_beyond_the_pole_is_refused() -> None:
    with pytest.raises(InvalidInput, match=r"13 m"):
        Pole((5.0, 13.0)).joints_for(13.5)


@given(st.floats(0.1, 16.0), st.floats(0.1, 16.0))
def test_farther_takes_no_fewer_joints(one: float, other: float) -> None:
    near, far = sorted((one, other))
    assert USUAL_POLE.joints_for(near) <= USUAL_POLE.joints_for(far)


@pytest.mark.parametrize(
    ("depth_cm", "said"),
    [(152.4, "5 ft"), (137.16, "4 ft 6 in"), (182.88, "6 ft"), (20.0, "8 in"), (0.0, "0 in")],
)
def test_a_depth_as_anglers_say_it(depth_cm: float, said: str) -> None:
    """A foot is 0.3048 m (International Yard and Pound Agreement 1959)."""
    assert feet_and_inches(depth_cm) == said
