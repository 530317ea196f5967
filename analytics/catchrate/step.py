"""From a round to the next: the step of everything that is searched for.

Far from the bottom the smoothing parameters, and the dispersions with the power, each take a step of their
own. Near it each would miss by what the other's step moves its bottom, so there they step together, by
Newton with the derivative between them, and the coefficients go along.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.family import Family, Tweedie
from analytics.catchrate.likelihood import LARGEST_POWER, SMALLEST_POWER
from analytics.catchrate.reml import FAR, Derivatives
from analytics.catchrate.rounds import Round, State


def next_state(round_: Round, settled: float) -> tuple[State, FloatArray]:
    """The next state and its linear predictor by row; a gradient below `settled` moves nothing."""
    new, scaled, found = round_.new, round_.scaled, round_.found
    apart = replace(new, family=scaled.family, log_dispersion=scaled.log_dispersion)
    if found is None or round_.solver.problem.rho is not None:
        return apart, round_.new_part_eta
    apart = replace(apart, search=new.search.step(found, settled))
    changes = apart.search.rho - new.search.rho, apart.log_dispersion - new.log_dispersion
    if max(float(np.max(np.abs(change))) for change in changes) > FAR:
        return apart, round_.new_part_eta
    together = _together(round_, found, apart, settled)
    return together, round_.solver.eta(together)


def _together(round_: Round, found: Derivatives, apart: State, settled: float) -> State:
    new, coupling = round_.new, Coupling.of(round_, found)
    moving = new.search.free(found.gradient) & (np.abs(found.gradient) > settled)
    seen = coupling.seen_with(apart.log_dispersion - new.log_dispersion, found, moving)
    search = replace(new.search.step(seen, settled), before=apart.search.before)
    rho_change = search.rho - new.search.rho
    family, log_dispersion = coupling.answer(apart, rho_change)
    # As b'Sb, dispersion weighs the returns against the penalties: it moves b as all rho alike would.
    moved = rho_change + coupling.shares @ (log_dispersion - new.log_dispersion)
    return State(
        new.coefficients + found.moves @ moved,
        new.eliminated + found.own_moves @ moved,
        search,
        family,
        log_dispersion,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Coupling:
    """Between rho and the log dispersions: `mixed` (q, d) the second derivatives of the criterion by both.

    `inverse` is that of the Hessian by power and log dispersions, of the free ones, the d dispersions last;
    d is nought where they are known. `shares` (classes,) tell how much each class holds of what the
    coefficients spent.
    """

    mixed: FloatArray
    inverse: FloatArray
    shares: FloatArray

    @classmethod
    def of(cls, round_: Round, found: Derivatives) -> "Coupling":
        shares = round_.freedom_shares
        free = 0 if round_.solver.likelihood.known is not None else len(shares)
        inverse = np.asarray(np.linalg.pinv(round_.scaled.hessian, hermitian=True), dtype=np.float64)
        return cls(np.outer(found.by_dispersion, shares)[:, :free], inverse, shares)

    def seen_with(self, change: FloatArray, found: Derivatives, moving: NDArray[np.bool_]) -> Derivatives:
        """The derivatives by rho when the log dispersions change as they would, and go on to answer rho.

        Gradients of what is not `moving` stay, so that it goes on to rest.
        """
        free = self.mixed.shape[1]
        shifted = found.gradient + self.mixed @ change[:free]
        dispersions = self.inverse[len(self.inverse) - free :, len(self.inverse) - free :]
        return replace(
            found,
            gradient=np.where(moving, shifted, found.gradient),
            hessian=found.hessian - self.mixed @ dispersions @ self.mixed.T,
        )

    def answer(self, apart: State, rho_change: FloatArray) -> tuple[Family, FloatArray]:
        """Family and log dispersions after rho's change."""
        free = self.mixed.shape[1]
        change = -self.inverse[:, len(self.inverse) - free :] @ (self.mixed.T @ rho_change)
        family, log_dispersion = apart.family, apart.log_dispersion.copy()
        log_dispersion[:free] += change[len(change) - free :]
        if isinstance(family, Tweedie) and len(change) > free:
            power = np.clip(family.power + change[0], SMALLEST_POWER, LARGEST_POWER)
            family = family.at(float(power))
        return family, log_dispersion
