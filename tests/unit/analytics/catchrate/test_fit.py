"""From a frame to estimates: what the fit makes of a club, begins from, and refuses."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import AT_ZERO, INSIDE, Estimates, Refusal
from analytics.catchrate.fit import fit_catch, problem_of, unit_of, warm_start
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import LATEST, MOST_COMMON, CatchSpec, Factor
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder


def designed(frame: pd.DataFrame, spec: CatchSpec | None = None) -> Design:
    design = learn_design(frame, spec or CatchSpec())
    assert isinstance(design, Design)
    return design


def fitted(frame: pd.DataFrame, spec: CatchSpec | None = None, warm: Estimates | None = None) -> Estimates:
    found = fit_catch(frame, spec, warm=warm)
    assert isinstance(found, Estimates), found
    return found


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(7, 800, pegs=20, anglers=20).frame


@pytest.fixture(scope="module")
def estimates(frame: pd.DataFrame) -> Estimates:
    return fitted(frame)


def refused(frame: pd.DataFrame, spec: CatchSpec | None = None) -> Refusal:
    refusal = fit_catch(frame, spec)
    assert isinstance(refusal, Refusal)
    return refusal


def test_too_few_returns_are_refused_with_the_number_needed(frame: pd.DataFrame) -> None:
    for count in (0, 59):
        refusal = refused(frame.head(count))
        assert (refusal.code, refusal.needed) == ("too_few_returns", 60)
        assert str(count) in refusal.message


def test_free_parameters_need_five_returns_each(frame: pd.DataFrame) -> None:
    flat = CatchSpec(terms=(Factor("angler", "angler", prior_sd=np.inf, reference=MOST_COMMON),))
    refusal = refused(frame.head(80), flat)
    free = frame.head(80)["angler"].nunique()
    assert (refusal.code, refusal.needed) == ("too_few_returns", 5 * free)


def test_nothing_but_blanks_is_refused(frame: pd.DataFrame) -> None:
    assert refused(frame.assign(weight_g=0.0, outcome="blank")).code == "all_blank"


def test_a_fit_that_has_not_converged_is_refused(frame: pd.DataFrame) -> None:
    refusal = refused(frame, CatchSpec(max_iterations=3))
    assert refusal.code == "not_converged"
    assert "3 iterations" in refusal.message


def test_columns_that_nothing_tells_apart_are_refused_by_name(frame: pd.DataFrame) -> None:
    """A flat factor beside its own copy: each of its years is one too many."""
    twice = (
        Factor("year", "year", prior_sd=np.inf, reference=LATEST),
        Factor("again", "year", prior_sd=np.inf, reference=LATEST),
        Factor("peg", "peg"),
    )
    refusal = refused(frame, CatchSpec(terms=twice))
    assert refusal.code == "rank_deficient"
    for year in ("2019", "2020", "2021"):
        assert year in refusal.message
    # A prior holds what the returns cannot tell.
    held = (replace(twice[0], prior_sd=2.0), *twice[1:])
    assert isinstance(fit_catch(frame, CatchSpec(terms=held)), Estimates)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sixty_returns_of_one_water_get_a_simple_model(seed: int) -> None:
    found = fitted(simulate_club(seed, 60, pegs=10, anglers=12, waters=1, years=1).frame)
    names = {item.name for item in found.terms}
    assert {"season", "peg", "angler", "hook_bait", "match_day"} <= names
    assert names.isdisjoint({"water", "year", "distance", "season_distance", "hook_bait_month", "water_year"})
    assert found.edf < 30
    assert found.convergence.converged
    assert 0.2 < found.term("peg").prior_sd + found.term("angler").prior_sd < 2.0


def test_a_variance_of_nothing_is_kept_and_flagged(frame: pd.DataFrame) -> None:
    """Rig types dealt out by chance: nothing depends on them."""
    rng = np.random.default_rng(1)
    dealt = frame.assign(rig_type=rng.choice(["bulk", "loose", "spread", "tapered"], len(frame)))
    flags = {}
    for name, rows in (("as fished", frame), ("dealt", dealt)):
        (component,) = fitted(rows).term("rig_type").components
        flags[name] = component.boundary
        assert component.sd >= 0.0009
        assert (component.log_precision_se is None) == (component.boundary != INSIDE)
    assert flags["dealt"] == AT_ZERO


def test_progress_is_told_to_the_end(frame: pd.DataFrame) -> None:
    told: list[tuple[int, int, str]] = []
    fit_catch(frame, progress=lambda *what: told.append(what))
    assert told[0][0] == 0
    assert [done for done, _, _ in told] == sorted(done for done, _, _ in told)
    assert told[-1][0] == told[-1][1]


def test_the_largest_factor_is_eliminated_first_and_it_does_not_matter(frame: pd.DataFrame) -> None:
    design = designed(frame)
    problem = problem_of(design, CatchSpec(), unit_of(design.returns))
    assert design.terms[problem.eliminate - 1][0].name == "match_day"
    apart, together = solve(problem), solve(replace(problem, eliminate=None))
    assert apart.criterion == pytest.approx(together.criterion, abs=1e-3)


def test_a_factor_that_differs_between_the_parts_of_a_session_is_not_eliminated() -> None:
    harder = Harder(two_part_share=0.8)
    frame = simulate_club(3, 400, pegs=6, anglers=5, harder=harder).frame
    pleasure = frame.assign(is_match=False, match_day=None)
    design = designed(pleasure)
    # Baits are the most numerous, but a session in two parts has two of them.
    assert max(term.size for term, _ in design.terms if term.penalty_names == ("levels",)) == 8
    problem = problem_of(design, CatchSpec(), unit_of(design.returns))
    chosen = problem.blocks[problem.eliminate].encoded.codes
    assert all(
        len(set(chosen[design.returns.session == one])) == 1 for one in range(len(design.returns.weight_g))
    )


def test_a_warm_start_takes_each_number_by_its_name(frame: pd.DataFrame, estimates: Estimates) -> None:
    newcomer = frame.head(30).assign(angler="angler 99")
    design = designed(pd.concat([frame, newcomer], ignore_index=True))
    start = warm_start(estimates, design, unit_g=500.0)
    assert start.coefficients[0][0] == pytest.approx(estimates.intercept - np.log(500))
    for (term, _), values in zip(design.terms, start.coefficients[1:], strict=True):
        earlier = estimates.term(term.name).effects()
        expected = [earlier.get(name, (0.0, 0.0))[0] for name in term.coefficient_names]
        np.testing.assert_array_equal(values, expected)
    known = [item.log_precision for term in estimates.terms for item in term.components]
    np.testing.assert_array_equal(start.rho, known)
    assert start.power == estimates.power
    # Var = phi mu^p: in units of 500 g the dispersion is phi 500^(p - 2).
    assert np.exp(start.log_dispersion[0]) == pytest.approx(
        estimates.dispersion * 500 ** (estimates.power - 2)
    )


def test_begun_from_itself_a_fit_is_done_at_once(frame: pd.DataFrame, estimates: Estimates) -> None:
    warm = fitted(frame, warm=estimates)
    assert warm.convergence.iterations <= 3 < estimates.convergence.iterations
    assert warm.criterion == pytest.approx(estimates.criterion, abs=1e-5)


def test_a_power_that_is_given_is_kept_and_has_no_error(frame: pd.DataFrame) -> None:
    given = fitted(frame, CatchSpec(power=1.6))
    assert (given.power, given.power_se) == (1.6, None)
    with pytest.raises(ValueError, match="between 1 and 2"):
        CatchSpec(power=2.0)


def test_effects_known_to_be_there_are_found(frame: pd.DataFrame, estimates: Estimates) -> None:
    """The simulation's own power and dispersion (kg: 1.25), within three of their errors."""
    assert abs(estimates.power - 1.55) < 3 * estimates.power_se
    per_kilogram = estimates.dispersion * 1000 ** (estimates.power - 2)
    assert per_kilogram == pytest.approx(1.25, rel=0.25)


@pytest.mark.parametrize(("returns", "seed", "most"), [(3000, 23, 25), (800, 50, 25), (3000, 65, 119)])
def test_a_flat_stretch_is_no_trap(returns: int, seed: int, most: int) -> None:
    """On the first two the search crept for 90 rounds and more; on the last it circled and found no end."""
    frame = simulate_club(seed, returns).frame
    frame["water_temperature_c"] = frame["water_temperature_c"].clip(lower=0.0)
    found = fit_catch(frame)
    assert isinstance(found, Estimates), found
    assert found.convergence.iterations <= most
