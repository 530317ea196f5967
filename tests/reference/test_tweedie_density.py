"""The Tweedie density against its series with many digits and against its characteristic function."""

import mpmath
import numpy as np
import pytest
from scipy.integrate import quad
from statsmodels.genmod.families import Tweedie

from analytics.catchrate.density import cumulative, log_density, log_series

# (mean, dispersion, power): the simulated clubs' in kilograms, some few catches, hardly one, nearly gamma.
FAMILIES = [(2.5, 1.25, 1.55), (4.0, 0.3, 1.3), (0.6, 2.0, 1.15), (8.0, 0.5, 1.85)]


def direct_log_series(log_y: float, log_dispersion: float, power: float) -> float:
    """log sum of W_j, term by term with fifty digits: Dunn & Smyth 2005, Stat. Comput. 15:267, eq. (7)."""
    with mpmath.workdps(50):
        p, phi, y = mpmath.mpf(power), mpmath.e ** mpmath.mpf(log_dispersion), mpmath.e ** mpmath.mpf(log_y)
        alpha = (2 - p) / (1 - p)
        peak = y ** (2 - p) / (phi * (2 - p))
        spread = mpmath.sqrt(peak / (1 - alpha))
        first, last = max(1, int(peak - 13 * spread - 5)), int(peak + 14 * spread + 40)
        log_z = (
            -alpha * mpmath.log(y)
            - (1 - alpha) * mpmath.log(phi)
            + alpha * mpmath.log(p - 1)
            - mpmath.log(2 - p)
        )
        total = sum(
            mpmath.exp(j * log_z - mpmath.loggamma(j + 1) - mpmath.loggamma(-j * alpha))
            for j in range(first, last)
        )
        return float(mpmath.log(total))


@pytest.mark.parametrize("power", [1.02, 1.1, 1.3, 1.5, 1.7, 1.9, 1.98])
@pytest.mark.parametrize("log_dispersion", [-4.0, 0.0, 5.0])
def test_the_series_equals_its_direct_sum(power: float, log_dispersion: float) -> None:
    for log_peak in (-25.0, -4.0, -1.0, 0.0, 1.0, 2.5, 3.5, 4.2, 4.8, 6.0, 8.0):
        log_y = (log_peak + log_dispersion + float(np.log(2.0 - power))) / (2.0 - power)
        expected = direct_log_series(log_y, log_dispersion, power)
        assert float(log_series(log_y, log_dispersion, power)) == pytest.approx(
            expected, rel=1e-12, abs=1e-12
        )


def inverted_density(y: float, mean: float, dispersion: float, power: float) -> float:
    """Density of the continuous part by Fourier inversion: Dunn & Smyth 2008, Stat. Comput. 18:73, sec. 3.

    f(y) = 1/pi integral over t > 0 of Re((C(t) - P(0)) exp(-i t y)), where the characteristic function of a
    Poisson number of gamma catches is C(t) = exp(rate ((1 - i t scale)^-shape - 1)).
    """
    rate = mpmath.mpf(mean) ** (2 - power) / (dispersion * (2 - power))
    shape = mpmath.mpf(2 - power) / (power - 1)
    scale = dispersion * (power - 1) * mpmath.mpf(mean) ** (power - 1)

    def integrand(t: mpmath.mpf) -> mpmath.mpf:
        caught = mpmath.exp(rate * ((1 - 1j * t * scale) ** (-shape) - 1)) - mpmath.exp(-rate)
        return (caught * mpmath.exp(-1j * t * y)).real

    return float(mpmath.quadosc(integrand, [0, mpmath.inf], omega=y) / mpmath.pi)


@pytest.mark.parametrize(("mean", "dispersion", "power"), FAMILIES)
def test_the_density_equals_the_inverted_characteristic_function(
    mean: float, dispersion: float, power: float
) -> None:
    for y in (0.4 * mean, mean, 2.5 * mean):
        expected = inverted_density(y, mean, dispersion, power)
        assert np.exp(float(log_density(y, mean, dispersion, power))) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(("mean", "dispersion", "power"), FAMILIES)
def test_the_density_equals_statsmodels_by_wrights_bessel_function(
    mean: float, dispersion: float, power: float
) -> None:
    family = Tweedie(var_power=power, eql=False)
    y = np.array([0.0, 0.3, 1.0, 2.0]) * mean
    expected = family.loglike_obs(y, np.full(4, mean), scale=dispersion)
    assert log_density(y, mean, dispersion, power) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(("mean", "dispersion", "power"), FAMILIES)
def test_probability_is_one_and_mean_and_variance_are_the_family_s(
    mean: float, dispersion: float, power: float
) -> None:
    blank = float(np.exp(log_density(0.0, mean, dispersion, power)))

    def moment(order: int) -> float:
        # On log y, where the density is smooth down to the smallest weight.
        def integrand(log_y: float) -> float:
            y = np.exp(log_y)
            return float(np.exp((order + 1) * log_y + log_density(y, mean, dispersion, power)))

        return float(quad(integrand, -60.0, np.log(400.0 * mean), limit=800, epsabs=1e-12)[0])

    assert blank + moment(0) == pytest.approx(1.0, abs=1e-9)
    assert moment(1) == pytest.approx(mean, rel=1e-8)
    assert moment(2) - mean**2 == pytest.approx(dispersion * mean**power, rel=1e-7)


@pytest.mark.parametrize(("mean", "dispersion", "power"), FAMILIES)
def test_the_distribution_function_equals_the_integrated_density(
    mean: float, dispersion: float, power: float
) -> None:
    for y in (0.3 * mean, mean, 3.0 * mean):
        area = quad(
            lambda log_y: float(np.exp(log_y + log_density(np.exp(log_y), mean, dispersion, power))),
            -60.0,
            np.log(y),
            limit=800,
            epsabs=1e-12,
        )[0]
        expected = float(np.exp(log_density(0.0, mean, dispersion, power))) + area
        assert float(cumulative(y, mean, dispersion, power)) == pytest.approx(expected, abs=1e-9)
