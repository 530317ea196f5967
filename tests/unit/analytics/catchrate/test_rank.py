"""Columns that the others explain."""

import numpy as np
from numpy.random import default_rng

from analytics.catchrate.equations import intercept
from analytics.catchrate.family import Gaussian
from analytics.catchrate.likelihood import Response
from analytics.catchrate.problem import Block, Problem
from analytics.catchrate.rank import dependent_columns
from analytics.catchrate.terms import Encoded
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


def test_the_levels_of_a_flat_factor_are_one_too_many_beside_an_intercept() -> None:
    problem = problem_with(Block(every_level(1, 5)), Block(every_level(2, 4)))
    left_over = dependent_columns(problem)
    assert len(left_over) == 2
    design = design_of(problem)
    kept = np.delete(design, left_over, axis=1)
    assert np.linalg.matrix_rank(kept) == kept.shape[1] == np.linalg.matrix_rank(design) == 8


def test_a_penalty_or_a_known_prior_holds_what_the_data_cannot() -> None:
    levels = every_level(1, 5)
    assert dependent_columns(problem_with(Block(levels, (np.ones(5),)))) == []
    assert dependent_columns(problem_with(Block(levels, known=0.25))) == []


def test_a_column_given_twice_is_one_too_many() -> None:
    term = random_term(1, ROWS, 9, 1)
    assert len(dependent_columns(problem_with(Block(term), Block(term)))) == 1


def test_sessions_of_several_parts_count_by_their_average() -> None:
    # Half and half of two levels in every session: an average that is the intercept's column.
    session = np.repeat(np.arange(ROWS // 2), 2)
    halves = Encoded(np.tile([0, 1], ROWS // 2).astype(np.int32), None, 2)
    assert len(dependent_columns(problem_with(Block(halves), session=session))) == 2
