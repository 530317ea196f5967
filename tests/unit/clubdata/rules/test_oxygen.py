"""Oxygen at saturation against the published table."""

from itertools import pairwise

import pytest

from clubdata.rules.cautions import cautions_for
from clubdata.rules.oxygen import oxygen_at_saturation_mg_l

# Benson and Krause 1984; Standard Methods, APHA 4500-O: fresh water, one atmosphere, mg/l.
PUBLISHED = {0: 14.621, 5: 12.771, 10: 11.288, 15: 10.084, 20: 9.092, 25: 8.263, 30: 7.559}


@pytest.mark.parametrize(("celsius", "mg_l"), PUBLISHED.items())
def test_it_is_the_published_value(celsius: float, mg_l: float) -> None:
    assert oxygen_at_saturation_mg_l(celsius) == pytest.approx(mg_l, abs=0.01)


def test_warmer_water_holds_less() -> None:
    found = [oxygen_at_saturation_mg_l(celsius) for celsius in range(41)]
    assert all(colder > warmer for colder, warmer in pairwise(found))


@pytest.mark.parametrize("celsius", [-0.1, 40.1])
def test_outside_its_range_it_says_so(celsius: float) -> None:
    with pytest.raises(ValueError, match="0 to 40"):
        oxygen_at_saturation_mg_l(celsius)


def test_the_caution_of_warm_water_tells_it() -> None:
    found = cautions_for(
        water_kind="stillwater", on=None, month=7, water_temperature_c=25, wind_force=None, hazards=[],
        longest_pole_m=None,
    )  # fmt: skip
    (warm,) = [one for one in found if one.code == "warm_water"]
    assert "8.3 mg/l" in warm.sentence and "keepnet" in warm.sentence
