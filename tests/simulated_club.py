"""The invented club by its former name."""

from tests.simulation.club import SimulatedClub, simulate_club
from tests.simulation.truth import BAITS, RIGS

__all__ = ["BAITS", "RIGS", "SimulatedClub", "simulate_club"]
