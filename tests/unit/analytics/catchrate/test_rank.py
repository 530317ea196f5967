"""Columns that the others explain."""

import numpy as np
from numpy.random import default_rng

from analytics.catchrate.equations import intercept
from analytics.catchrate.family import Gaussian
from analytics.catchrate.likelihood import Response
from analytics.catchrate.problem import Block, Problem
from analytics.catchrate.rank import dependent_columns, undetermined
from analytics.catchrate.spec import Factor
from analytics.catchrate.terms import Encoded, LearnedFactor
from tests.unit.analytics.catchrate.dense import design_of, random_term

ROWS = 200


def problem_with(*blocks: Block, session: np.ndarray | None = None) -> Problem:
    count = ROWS if session is None else session.max() + 1
    response = Response.exact(default_rng(1).normal(size=count))
    return Problem(Gaussian(), response, np.zeros(ROWS), [Block(intercept(ROWS)), *blocks], session=session)


def every_level(seed: int, levels: int) -> Encoded:
    codes = default_rng(seed).integers(0, levels, ROWS).astype(np.int32)
    return Encoded(codes, None, levels)


def test_columns_of_full_rank_are_all_kept() -> None:
    assert (
        dependent_columns(problem_with(Block(random_term(1, ROWS, 5)), Block(random_term(2, ROWS, 9, 3))))
        == []
    )


def check_sets(problem: Problem, count: int) -> list[list[int]]:
    """There are `count`; each is one column too many, and no column of it could be spared (NumPy's ranks)."""
    found = dependent_columns(problem)
    design = design_of(problem)
    assert len(found) == count == design.shape[1] - np.linalg.matrix_rank(design)
    for columns in found:
        assert np.linalg.matrix_rank(design[:, columns]) == len(columns) - 1
        for column in columns:
            fewer = [other for other in columns if other != column]
            assert np.linalg.matrix_rank(design[:, fewer]) == len(columns) - 1
    return found


def test_the_levels_of_a_flat_factor_and_the_intercept_explain_one_another() -> None:
    found = check_sets(problem_with(Block(every_level(1, 5)), Block(every_level(2, 4))), 2)
    assert found == [[0, 1, 2, 3, 4, 5], [0, 6, 7, 8, 9]]


def test_a_flat_factor_given_twice_is_told_level_by_level_and_not_as_the_intercept() -> None:
    levels = random_term(1, ROWS, 5)
    other = random_term(2, ROWS, 9, 3)
    found = check_sets(problem_with(Block(levels), Block(other), Block(levels)), 5)
    assert found == [[1, 9], [2, 10], [3, 11], [4, 12], [5, 13]]


def test_a_level_that_nobody_fished_is_explained_by_nothing() -> None:
    levels = every_level(1, 5)
    assert dependent_columns(problem_with(Block(Encoded(levels.codes % 4 - 1, None, 5)))) == [[4], [5]]


def test_the_rarest_level_still_has_its_part() -> None:
    codes = np.zeros(ROWS, dtype=np.int32)
    codes[0], codes[1:50] = 1, 2
    assert check_sets(problem_with(Block(Encoded(codes, None, 3))), 1) == [[0, 1, 2, 3]]


def test_a_penalty_or_a_known_prior_holds_what_the_data_cannot() -> None:
    levels = every_level(1, 5)
    assert dependent_columns(problem_with(Block(levels, (np.ones(5),)))) == []
    assert dependent_columns(problem_with(Block(levels, known=0.25))) == []


def test_a_column_given_twice_is_one_too_many() -> None:
    term = random_term(1, ROWS, 9, 1)
    assert check_sets(problem_with(Block(term), Block(term)), 1) == [[1, 2]]


def test_sessions_of_several_parts_count_by_their_average() -> None:
    # Half and half of two levels in every session: an average that is the intercept's column.
    session = np.repeat(np.arange(ROWS // 2), 2)
    halves = Encoded(np.tile([0, 1], ROWS // 2).astype(np.int32), None, 2)
    assert dependent_columns(problem_with(Block(halves), session=session)) == [[0, 1], [0, 2]]


def factor(name: str, levels: int) -> LearnedFactor:
    return LearnedFactor(Factor(name, name, np.inf), tuple(f"level {n}" for n in range(levels)), None)


def test_a_reader_is_told_which_levels_of_which_terms() -> None:
    levels = random_term(1, ROWS, 2)
    problem = problem_with(Block(levels), Block(levels))
    assert undetermined(problem, [factor("rig_type", 2), factor("wind", 2)]) == [
        "rig type level 0 and wind level 0",
        "rig type level 1 and wind level 1",
    ]


def test_of_many_levels_the_terms_are_told_once() -> None:
    levels = every_level(1, 30)
    problem = problem_with(Block(levels), Block(levels))
    told = undetermined(problem, [factor("water", 30), factor("venue", 30)])
    # Which of two equal columns stays is a matter of rounding; the intercept is the sum of levels of either.
    assert told[-1] == "water and venue"
    assert set(told[:-1]) <= {"intercept and water", "intercept and venue", "intercept and water and venue"}
    assert 1 <= len(set(told[:-1])) == len(told) - 1


def test_no_angler_is_named() -> None:
    levels = random_term(1, ROWS, 2)
    problem = problem_with(Block(levels), Block(levels))
    told = undetermined(problem, [factor("angler", 2), factor("wind", 2)])
    assert told == ["angler and wind level 0", "angler and wind level 1"]
