"""Rigs as tied: what they weigh, where the shot lie, how they settle."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdata.errors import InvalidInput
from clubdata.rules.rigs import (
    Rig,
    Shot,
    as_written,
    bulk_with_droppers,
    closes_up,
    falls_evenly,
    settling,
    tapered,
    total_g,
    trimming_for,
)
from clubdata.rules.tackle import SPLIT_SHOT_G

SIZES = st.sampled_from(sorted(SPLIT_SHOT_G))
SHOT = st.builds(Shot, above_hook_cm=st.floats(0.5, 150).map(lambda at: round(at, 1)), size=SIZES)
FIVE_FEET_CM = 152.4


def rig(*shot: Shot, load_g: float = 0.4) -> Rig:
    return Rig(depth_cm=FIVE_FEET_CM, hooklength_cm=10.16, load_g=load_g, shot=shot)


@given(st.lists(SHOT, min_size=1, max_size=12))
def test_a_total_is_the_sum_of_its_shot(shot: list[Shot]) -> None:
    assert rig(*shot).shot_total_g == pytest.approx(sum(SPLIT_SHOT_G[one.size] for one in shot))


@given(
    st.lists(SHOT, min_size=1, max_size=8).flatmap(
        lambda shot: st.tuples(st.just(shot), st.permutations(shot))
    )
)
def test_the_order_in_which_shot_are_told_changes_nothing(pair: tuple[list[Shot], list[Shot]]) -> None:
    one, other = rig(*pair[0]), rig(*pair[1])
    assert one == other and settling(one) == settling(other)


def test_a_taper_for_five_feet() -> None:
    """Common practice, no source: No 9, one at the hooklength loop, then 4 in on, 3 in, 1 in."""
    pattern = tapered(hooklength_cm=10.16, load_g=0.2, depth_cm=FIVE_FEET_CM)
    gaps = [
        round((later.above_hook_cm - earlier.above_hook_cm) / 2.54, 2)
        for earlier, later in itertools.pairwise(pattern)
    ]
    assert (pattern[0].above_hook_cm, gaps) == (10.16, [4.0, 3.0, 1.0])
    assert {one.size for one in pattern} == {"9"} and total_g(one.size for one in pattern) == 0.2


def test_the_last_spacing_repeats_until_the_float_is_down() -> None:
    """Common practice, no source: a float of this class commonly takes about 0.4 g, eight No 9."""
    pattern = tapered(hooklength_cm=10.16, load_g=0.4, depth_cm=FIVE_FEET_CM)
    assert len(pattern) == 8
    above = [round(one.above_hook_cm / 2.54, 1) for one in pattern]
    assert above == [4.0, 8.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0]


def test_a_bulk_lies_where_the_taper_ends_with_two_droppers() -> None:
    pattern = bulk_with_droppers(hooklength_cm=10.16, load_g=0.4, depth_cm=FIVE_FEET_CM)
    at = [round(one.above_hook_cm / 2.54, 1) for one in pattern]
    assert at == [4.0, 8.0, *[16.0] * 6]


PATTERNS = st.tuples(st.sampled_from([10.16, 15.24]), st.floats(0.1, 1.0), st.floats(120, 400))


@given(PATTERNS)
def test_a_taper_closes_up_falls_evenly_and_a_bulk_goes_straight_down(
    told: tuple[float, float, float],
) -> None:
    hooklength_cm, load_g, depth_cm = told
    asked = {"hooklength_cm": hooklength_cm, "load_g": load_g, "depth_cm": depth_cm}
    string, bulk = tapered(**asked), bulk_with_droppers(**asked)
    assert closes_up(string)
    assert total_g(one.size for one in string) == total_g(one.size for one in bulk) <= load_g + 1e-9
    if len(string) < 6:
        return
    whole = {"depth_cm": depth_cm, "hooklength_cm": hooklength_cm, "load_g": load_g}
    assert falls_evenly(Rig(shot=string, **whole))
    stages = settling(Rig(shot=bulk, **whole))
    assert [stage.share >= 0.5 for stage in stages] == [True, False, False]
    assert stages[0].above_hook_cm > stages[1].above_hook_cm > stages[2].above_hook_cm


@given(PATTERNS)
def test_a_trimming_shot_brings_the_float_down_and_no_further(told: tuple[float, float, float]) -> None:
    hooklength_cm, load_g, depth_cm = told
    tied = Rig(
        depth_cm,
        hooklength_cm,
        load_g,
        tapered(hooklength_cm=hooklength_cm, load_g=load_g, depth_cm=depth_cm),
    )
    trimmed = Rig(depth_cm, hooklength_cm, load_g, tied.shot, trimming_for(tied))
    assert -1e-9 <= trimmed.left_g < 0.0101
    assert trimmed.shot_total_g == tied.shot_total_g, "it is not part of the pattern"


def test_a_line_that_is_too_short_is_told() -> None:
    with pytest.raises(InvalidInput, match="longer than the water is deep"):
        tapered(hooklength_cm=10.16, load_g=1.0, depth_cm=40.0)


@pytest.mark.parametrize("load_g", [0.0, 0.04, 99.0])
def test_a_load_that_no_pattern_of_the_size_fits_is_told(load_g: float) -> None:
    with pytest.raises(InvalidInput):
        tapered(hooklength_cm=10.16, load_g=load_g, depth_cm=500.0)


def test_a_shot_off_the_line_is_refused() -> None:
    with pytest.raises(InvalidInput):
        rig(Shot(400.0, "9"))


def test_a_pattern_as_it_is_written() -> None:
    assert as_written((Shot(40.64, "9"), Shot(10.16, "9"), Shot(40.64, "9"), Shot(20.0, "BB"))) == (
        "No 9 at 10.2 cm, BB at 20 cm, 2 × No 9 at 40.6 cm"
    )
