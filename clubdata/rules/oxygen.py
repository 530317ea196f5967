"""How much oxygen water can hold: why warm water and keepnets do not go together."""

import math
from typing import Final

#: Benson and Krause 1984, Limnology and Oceanography 29:620, as in Standard Methods (APHA 4500-O): the
#: natural logarithm of mg/l in fresh water under one atmosphere, by powers of the inverse of the kelvins.
_TERMS: Final = (-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11)
_COLDEST_C, _WARMEST_C = 0.0, 40.0


def oxygen_at_saturation_mg_l(water_temperature_c: float) -> float:
    """Dissolved oxygen at saturation, fresh water, one atmosphere. Raises `ValueError` beyond 0 to 40 °C."""
    if not _COLDEST_C <= water_temperature_c <= _WARMEST_C:
        raise ValueError("the formula holds from 0 to 40 degrees Celsius")
    kelvin = water_temperature_c + 273.15
    return math.exp(sum(term / kelvin**power for power, term in enumerate(_TERMS)))
