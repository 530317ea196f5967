import numpy as np
import pytest
from scipy.special import gammaln, logsumexp, pdtr, pdtrc

from analytics.catchrate.density import DensityGrid, cumulative, log_density, log_series, poisson_windows
from analytics.catchrate.draws import draw


def test_the_series_of_a_weight_of_one_by_hand() -> None:
    # p = 1.5 gives alpha = -1; at y = phi = 1, x = alpha log(1/2) - log(1/2) = 2 log 2.
    j = np.arange(1.0, 60.0)
    by_hand = logsumexp(j * 2.0 * np.log(2.0) - gammaln(j + 1.0) - gammaln(j))
    assert log_series(0.0, 0.0, 1.5) == pytest.approx(by_hand, rel=1e-14)


def test_the_sum_over_integers_and_the_sum_by_steps_both_equal_the_plain_sum() -> None:
    for power in (1.1, 1.5, 1.9):
        ratio = (2.0 - power) / (power - 1.0)
        for peak in (30.0, 70.0, 130.0, 200.0):  # the change comes between 60 and 120, depending on the power
            log_y = np.log(peak * (2.0 - power)) / (2.0 - power)
            x = ratio * log_y - ratio * np.log(power - 1.0) - np.log(2.0 - power)
            j = np.arange(1.0, 600.0)
            plain = logsumexp(j * x - gammaln(j + 1.0) - gammaln(ratio * j))
            assert log_series(log_y, 0.0, power) == pytest.approx(plain, rel=1e-12)


def test_extreme_weights_neither_overflow_nor_vanish() -> None:
    for power in (1.02, 1.5, 1.98):
        for log_y, log_dispersion in ((-300.0, 5.0), (-5.0, 50.0), (30.0, 0.0), (30.0, -10.0)):
            assert np.isfinite(log_series(log_y, log_dispersion, power))


@pytest.mark.parametrize("power", [1.1, 1.3, 1.5, 1.7, 1.9])
@pytest.mark.parametrize("dispersion", [0.05, 0.5, 1.25, 5.0])
def test_the_grid_gives_the_sum_over_all_weights_to_a_millionth_of_each(
    power: float, dispersion: float
) -> None:
    generator = np.random.default_rng(20)
    kilograms = np.exp(generator.normal(0.8, 1.3, 5000))
    frequency = generator.integers(1, 4, 5000).astype(float)
    grid = DensityGrid.of(kilograms, frequency)
    direct = log_series(np.log(kilograms), np.log(dispersion), power) - np.log(kilograms)
    assert len(grid.log_y) < 300
    assert grid.frequency.sum() == pytest.approx(frequency.sum())
    assert abs(grid.total(np.log(dispersion), power) - frequency @ direct) < 1e-6 * frequency.sum()


@pytest.mark.parametrize("power", [1.1, 1.5, 1.9])
def test_the_grid_is_right_for_every_single_weight(power: float) -> None:
    padding = np.exp(np.linspace(-2.0, 4.0, 2000))
    whole = DensityGrid.of(padding)
    for chosen in (0, 1, 777, 1234, 1999):
        frequency = np.zeros(2000)
        frequency[chosen] = 1.0
        single = DensityGrid.of(padding, frequency).total(0.2, power)
        exact = float(log_series(np.log(padding[chosen]), 0.2, power)) - np.log(padding[chosen])
        assert single == pytest.approx(exact, abs=1e-6)
    assert len(whole.log_y) < 250


def test_a_few_distinct_weights_are_taken_as_they_are() -> None:
    grid = DensityGrid.of(np.array([2.0, 0.5, 2.0, 1000.0]))
    assert np.exp(grid.log_y) == pytest.approx([0.5, 2.0, 1000.0])
    assert list(grid.frequency) == [1.0, 2.0, 1.0]


def test_a_grid_of_nothing_adds_nothing_and_a_blank_is_refused() -> None:
    assert DensityGrid.of(np.array([])).total(0.0, 1.5) == 0.0
    with pytest.raises(ValueError, match="positive"):
        DensityGrid.of(np.array([1.0, 0.0]))


def test_a_blank_has_the_poisson_probability_of_no_catch() -> None:
    # p = 1.5, phi = 2, mu = 9: rate 3.
    assert log_density(0.0, 9.0, 2.0, 1.5) == pytest.approx(-3.0)
    assert cumulative(0.0, 9.0, 2.0, 1.5) == pytest.approx(np.exp(-3.0))
    assert log_density(-1.0, 9.0, 2.0, 1.5) == -np.inf
    assert cumulative(-1.0, 9.0, 2.0, 1.5) == 0.0


def test_a_change_of_unit_moves_the_density_by_its_logarithm_alone() -> None:
    power, unit = 1.55, 1000.0
    kilograms, grams = np.array([0.3, 4.0]), np.array([300.0, 4000.0])
    moved = log_density(grams, 2000.0, 1.25 * unit ** (2.0 - power), power)
    assert moved == pytest.approx(log_density(kilograms, 2.0, 1.25, power) - np.log(unit), rel=1e-12)


@pytest.mark.parametrize(
    ("mean", "dispersion", "power"), [(2.0, 1.25, 1.55), (0.2, 3.0, 1.2), (8.0, 0.02, 1.8)]
)
def test_the_distribution_function_is_the_integral_of_the_density(
    mean: float, dispersion: float, power: float
) -> None:
    points = np.linspace(0.7 * mean, 1.6 * mean, 20001)
    density = np.exp(log_density(points, mean, dispersion, power))
    area = float(np.sum((density[1:] + density[:-1]) / 2 * np.diff(points)))
    between = cumulative(points[-1], mean, dispersion, power) - cumulative(points[0], mean, dispersion, power)
    assert area == pytest.approx(float(between), rel=1e-6)


def test_draws_have_the_mean_the_variance_and_the_blanks_of_the_family() -> None:
    mean, dispersion, power, count = 2.0, 1.25, 1.55, 200_000
    weights = draw(np.random.default_rng(4), np.full(count, mean), dispersion, power)
    variance = dispersion * mean**power
    assert weights.mean() == pytest.approx(mean, abs=4 * np.sqrt(variance / count))
    assert weights.var() == pytest.approx(variance, rel=0.03)
    blank = np.exp(-(mean ** (2 - power)) / (dispersion * (2 - power)))
    assert (weights == 0).mean() == pytest.approx(blank, abs=4 * np.sqrt(blank / count))
    uniform = cumulative(weights[weights > 0][:5000], mean, dispersion, power)
    caught = np.sort((uniform - blank) / (1 - blank))
    assert np.abs(caught - (np.arange(len(caught)) + 0.5) / len(caught)).max() < 1.63 / np.sqrt(len(caught))


def test_windows_of_every_mean_come_once_and_hold_all_of_the_poisson_but_its_blank() -> None:
    centre = np.exp(np.random.default_rng(1).uniform(-12.0, 12.0, 3000))
    missing = np.full(len(centre), np.nan)
    for rows, n in poisson_windows(centre):
        assert n.size <= 1 << 18 or len(rows) == 1
        assert np.isnan(missing[rows]).all()
        outside = pdtr(n[:, 0] - 1.0, centre[rows]) - np.where(n[:, 0] == 1.0, np.exp(-centre[rows]), 0.0)
        missing[rows] = outside + pdtrc(n[:, -1], centre[rows])
    assert (missing < 1e-14).all()


@pytest.mark.parametrize("power", [1.0, 2.0, 3.0])
def test_powers_without_blanks_are_refused(power: float) -> None:
    with pytest.raises(ValueError, match="between one and two"):
        log_density(1.0, 1.0, 1.0, power)
    with pytest.raises(ValueError, match="between one and two"):
        draw(np.random.default_rng(1), 1.0, 1.0, power)
