import json
from dataclasses import replace

import numpy as np
import pytest

from analytics.catchrate.estimates import Estimates, from_document
from analytics.catchrate.fit import fit_catch
from tests.simulation.club import simulate_club


@pytest.fixture(scope="module")
def estimates() -> Estimates:
    found = fit_catch(simulate_club(5, 300, pegs=12, anglers=12).frame)
    assert isinstance(found, Estimates)
    return found


def test_a_document_and_a_matrix_bring_back_every_bit(estimates: Estimates) -> None:
    text = json.dumps(estimates.to_document(), allow_nan=False)
    back = from_document(json.loads(text), np.array(estimates.covariance_factor))
    assert back.terms == estimates.terms
    assert (back.rows, back.reference, back.dropped) == (
        estimates.rows,
        estimates.reference,
        estimates.dropped,
    )
    assert back.to_document() == estimates.to_document()
    assert np.array_equal(back.covariance_factor, estimates.covariance_factor)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_is_not_finite_is_refused(estimates: Estimates, value: float) -> None:
    with pytest.raises(ValueError, match="not finite"):
        replace(estimates, intercept=value).to_document()
    broken = np.array(estimates.covariance_factor)
    broken[1, 0] = value
    with pytest.raises(ValueError, match="not finite"):
        from_document(estimates.to_document(), broken)
    with pytest.raises(ValueError, match="not finite"):
        from_document(estimates.to_document() | {"dispersion": value}, estimates.covariance_factor)


def test_a_matrix_of_another_fit_is_refused(estimates: Estimates) -> None:
    with pytest.raises(ValueError, match="must be"):
        from_document(estimates.to_document(), np.eye(3))


def test_an_unknown_format_is_refused(estimates: Estimates) -> None:
    with pytest.raises(ValueError, match="format"):
        from_document(estimates.to_document() | {"format": 99}, estimates.covariance_factor)


def test_standard_errors_are_those_of_the_joint_covariance(estimates: Estimates) -> None:
    for name in ("peg", "season", "hook_bait"):
        item = estimates.term(name)
        assert item is not None
        assert item.start is not None
        rows = estimates.covariance_factor[item.start : item.start + item.term.size]
        variances = np.diag(rows @ rows.T)
        np.testing.assert_allclose(np.sqrt(variances), item.standard_errors)


def test_match_days_are_estimated_and_left_out_of_the_joint_covariance(estimates: Estimates) -> None:
    item = estimates.term("match_day")
    assert item is not None
    assert item.start is None
    # 150 returns of matches, each of one water with its six pegs.
    assert len(item.estimates) == 25


def test_no_effect_is_surer_than_the_data_nor_less_sure_than_its_prior(estimates: Estimates) -> None:
    for name in ("peg", "angler", "hook_bait", "rig_type", "match_day"):
        item = estimates.term(name)
        assert item is not None
        assert min(item.standard_errors) > 0
        assert max(item.standard_errors) <= item.prior_sd + 1e-12


def test_the_returns_that_were_used_are_counted(estimates: Estimates) -> None:
    frame = simulate_club(5, 300, pegs=12, anglers=12).frame
    assert estimates.rows.used == 300
    assert estimates.rows.blanks == (frame["weight_g"] == 0).sum()
