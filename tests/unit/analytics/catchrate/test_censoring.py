import numpy as np
import pytest
from scipy.integrate import quad

from analytics.catchrate.censoring import interval_moments, interval_score
from analytics.catchrate.density import cumulative, log_density
from analytics.catchrate.draws import draw

INTERVALS = [
    (0.0, 0.01),
    (0.0, 1.0),
    (0.0, 300.0),
    (0.01, np.inf),
    (3.0, np.inf),
    (1000.0, np.inf),
    (0.0, np.inf),
    (1.0, 1.5),
    (6.0, 50.0),
]
POWERS = [1.1, 1.3, 1.55, 1.8, 1.95]


def moments_by_integration(
    lower: float, upper: float, mean: float, dispersion: float, power: float
) -> tuple[float, float, float]:
    """Probability, E[Y] and E[Y^2] over lower < Y < upper by integrating the density on log y."""

    def integral(order: int) -> float:
        def integrand(log_y: float) -> float:
            y = np.exp(log_y)
            return float(np.exp((order + 1) * log_y + log_density(y, mean, dispersion, power)))

        # Near zero the density of log y falls as y^a, a the shape of one catch: e^-30 of it is left out.
        start = np.log(lower) if lower > 0 else -30.0 * (power - 1.0) / (2.0 - power)
        end = np.log(min(upper, 1000.0 * mean))
        return float(quad(integrand, start, end, limit=500, epsabs=0.0, epsrel=1e-11)[0])

    probability = integral(0)
    return probability, integral(1), integral(2)


@pytest.mark.parametrize(
    ("lower", "upper"), [(0.0, 1.0), (0.0, 5.0), (2.0, np.inf), (9.0, np.inf), (1.0, 1.5), (0.5, 6.0)]
)
@pytest.mark.parametrize("power", [1.2, 1.55, 1.85])
def test_moments_are_the_integrals_of_the_density(lower: float, upper: float, power: float) -> None:
    mean, dispersion = 2.5, 1.25
    log_probability, expected, square = interval_moments(lower, upper, mean, dispersion, power)
    area, first, second = moments_by_integration(lower, upper, mean, dispersion, power)
    if lower == 0.0:
        area += float(cumulative(0.0, mean, dispersion, power))
    assert np.exp(log_probability[0]) == pytest.approx(area, rel=1e-8)
    assert expected[0] == pytest.approx(first / area, rel=1e-8)
    assert square[0] == pytest.approx(second / area, rel=1e-8)


@pytest.mark.parametrize("power", POWERS)
@pytest.mark.parametrize(("lower", "upper"), INTERVALS)
def test_score_and_information_are_the_derivatives_of_the_log_probability(
    lower: float, upper: float, power: float
) -> None:
    mean, dispersion = (a.ravel() for a in np.meshgrid([0.05, 1.0, 5.0, 40.0], [0.05, 0.5, 1.25, 4.0]))
    log_probability, score, information = interval_score(lower, upper, mean, dispersion, power)

    def moved(step: float) -> np.ndarray:
        return interval_moments(lower, upper, mean * np.exp(step), dispersion, power)[0]

    h = 1e-4
    slope = (8.0 * (moved(h) - moved(-h)) - (moved(2 * h) - moved(-2 * h))) / (12.0 * h)
    bend = -(moved(h) - 2.0 * moved(0.0) + moved(-h)) / h**2
    size = np.maximum(1.0, np.abs(log_probability))  # rounding of the log-probability, divided by the step
    assert np.all(np.isfinite([log_probability, score, information]))
    assert np.all(np.abs(score - slope) < 1e-7 * size + 1e-7 * np.abs(score))
    assert np.all(np.abs(information - bend) < 1e-4 * size + 1e-4 * np.abs(information))


def test_moments_agree_with_drawn_weights() -> None:
    mean, dispersion, power = 2.5, 1.25, 1.55
    weights = draw(np.random.default_rng(9), np.full(400_000, mean), dispersion, power)
    for lower, upper in ((0.0, 1.0), (0.0, 4.0), (3.0, np.inf), (1.0, 2.0)):
        inside = weights[(weights >= lower) & (weights <= upper)]
        log_probability, expected, square = (
            float(value[0]) for value in interval_moments(lower, upper, mean, dispersion, power)
        )
        share = np.exp(log_probability)
        assert len(inside) / len(weights) == pytest.approx(share, abs=4 * np.sqrt(share / len(weights)))
        for found, order in ((expected, 1), (square, 2)):
            error = (inside**order).std() / np.sqrt(len(inside))
            assert (inside**order).mean() == pytest.approx(found, abs=4 * error)


def test_an_interval_far_in_a_tail_keeps_a_finite_probability_and_a_weight_inside() -> None:
    # Log-probabilities of some -1000 and below, where the probability itself is zero in floating point.
    lower, upper = np.array([0.0, 2000.0, 900.0, 0.0]), np.array([1e-3, np.inf, 910.0, 1.0])
    mean, dispersion = np.array([5e4, 0.5, 0.5, 5e4]), 0.2
    for power in POWERS:
        log_probability, expected, square = interval_moments(lower, upper, mean, dispersion, power)
        assert np.all(np.isfinite(log_probability)) and np.all(log_probability < -30.0)
        assert np.all((expected >= lower) & (expected <= upper))
        assert np.all(square >= expected**2)


def test_the_far_tail_falls_by_the_hazard_of_the_density() -> None:
    # For 'at least': d log P / d lower = -density / P, checked where neither is representable.
    mean, dispersion, power, lower, h = 0.5, 0.2, 1.5, 400.0, 1e-3
    bounds = np.array([lower - h, lower, lower + h])
    below, here, above = interval_moments(bounds, np.inf, mean, dispersion, power)[0]
    assert here < -1000.0
    hazard = np.exp(float(log_density(lower, mean, dispersion, power)) - here)
    assert (below - above) / (2 * h) == pytest.approx(hazard, rel=1e-6)


def test_a_wide_interval_says_nothing_and_a_narrow_one_says_what_a_weight_would() -> None:
    mean, dispersion, power = 2.5, 1.25, 1.55
    log_probability, score, information = interval_score(0.0, 1e9, mean, dispersion, power)
    assert abs(log_probability[0]) < 1e-12 and abs(score[0]) < 1e-9 and abs(information[0]) < 1e-9
    y = 3.0
    _, score, information = interval_score(y - 1e-4, y + 1e-4, mean, dispersion, power)
    assert score[0] == pytest.approx((y - mean) * mean ** (1 - power) / dispersion, rel=1e-4)
    complete = ((2 - power) * mean + (power - 1) * y) * mean ** (1 - power) / dispersion
    assert information[0] == pytest.approx(complete, rel=1e-4)


def test_mixed_intervals_give_what_each_gives_alone_whatever_the_chunks() -> None:
    generator = np.random.default_rng(3)
    rows = 9000
    chosen = generator.integers(0, len(INTERVALS), rows)
    lower, upper = np.array(INTERVALS)[chosen].T
    mean, dispersion = np.exp(generator.normal(1, 1, rows)), np.exp(generator.normal(0, 0.5, rows))
    together = np.array(interval_score(lower, upper, mean, dispersion, 1.5))
    for row in range(0, rows, 611):
        alone = interval_score(lower[row], upper[row], mean[row], dispersion[row], 1.5)
        assert together[:, row] == pytest.approx(np.array(alone)[:, 0], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("lower", "upper"), [(2.0, 2.0), (3.0, 1.0), (-1.0, 2.0), (np.nan, 1.0)])
def test_an_empty_or_negative_interval_is_refused(lower: float, upper: float) -> None:
    with pytest.raises(ValueError, match="interval"):
        interval_moments(lower, upper, 1.0, 1.0, 1.5)
