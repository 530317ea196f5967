"""The Beaufort scale as the World Meteorological Organization prints it (WMO-No. 8, wind)."""

import pytest

from clubdata.rules.wind import beaufort_from_metres_per_second

# Force, lowest and highest mean speed in m/s.
PRINTED_BANDS = [
    (0, 0.0, 0.2),
    (1, 0.3, 1.5),
    (2, 1.6, 3.3),
    (3, 3.4, 5.4),
    (4, 5.5, 7.9),
    (5, 8.0, 10.7),
    (6, 10.8, 13.8),
    (7, 13.9, 17.1),
    (8, 17.2, 20.7),
    (9, 20.8, 24.4),
    (10, 24.5, 28.4),
    (11, 28.5, 32.6),
    (12, 32.7, 80.0),
]


@pytest.mark.parametrize(("force", "lowest", "highest"), PRINTED_BANDS)
def test_both_ends_of_each_printed_band_have_its_force(force: int, lowest: float, highest: float) -> None:
    assert beaufort_from_metres_per_second(lowest) == force
    assert beaufort_from_metres_per_second(highest) == force


@pytest.mark.parametrize(("force", "lowest"), [(force, lowest) for force, lowest, _ in PRINTED_BANDS[1:]])
def test_the_scale_rises_within_each_gap_between_bands(force: int, lowest: float) -> None:
    # The gap is 0.1 m/s wide; the rule that halves it is ours, and the unit tests hold it.
    assert beaufort_from_metres_per_second(lowest - 0.09) == force - 1
    assert beaufort_from_metres_per_second(lowest - 0.01) == force
