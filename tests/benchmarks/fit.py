"""How long a fit takes, and how much memory: `uv run python -m tests.benchmarks.fit --rows N --seed S`.

Prints one JSON line: seconds of a cold fit, and of a warm one after a hundredth more rows, from arrays in
memory with the packages loaded; peak memory of the process; columns, iterations, power and dispersion.
`--against statsmodels` and `--against glum` fit the same design in the same run at the smoothing parameters
found, for they have no search of their own: seconds of each at that task, their ratio, theirs over our whole
fit with its search, and the largest difference of coefficients in standard errors.
"""

import argparse
import json
import os
import resource
import time
from typing import Any

# As in a worker, unless the caller says otherwise: threads of linear algebra that wait for a busy core cost
# more than they bring. Read when NumPy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("MKL_NUM_THREADS", "1")

from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from tests.benchmarks.against import MOST_ROWS, compared
from tests.benchmarks.sized import Size, size_for, sized_frame


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pegs", type=int)
    parser.add_argument("--anglers", type=int)
    parser.add_argument("--match-days", type=int)
    parser.add_argument("--cold-only", action="store_true", help="leave the warm fit out")
    parser.add_argument("--against", choices=sorted(MOST_ROWS), help="another program, fixed penalties")
    chosen = parser.parse_args()
    if chosen.against and chosen.rows > MOST_ROWS[chosen.against]:
        parser.error(f"{chosen.against} is given at most {MOST_ROWS[chosen.against]} rows")
    usual = size_for(chosen.rows)
    size = Size(
        pegs=chosen.pegs or usual.pegs,
        anglers=chosen.anglers or usual.anglers,
        match_days=chosen.match_days or usual.match_days,
        waters=usual.waters,
    )
    found = measured(chosen.rows, chosen.seed, size, warm=not chosen.cold_only, against=chosen.against)
    print(json.dumps(found))


def measured(rows: int, seed: int, size: Size, *, warm: bool, against: str | None = None) -> dict[str, Any]:
    frame = sized_frame(rows, seed, size)
    before = _peak_mb()
    earlier = frame.iloc[: rows - rows // 100]
    first = fit_catch(earlier, None) if warm else None
    del earlier
    begun = time.perf_counter()
    cold = fit_catch(frame)
    seconds = time.perf_counter() - begun
    if isinstance(cold, Refusal):
        return {"rows": rows, "seed": seed, "refused": cold.code, "reason": cold.message}
    found: dict[str, Any] = {"rows": rows, "seed": seed, "cold_s": round(seconds, 3)}
    if isinstance(first, Estimates):
        begun = time.perf_counter()
        again = fit_catch(frame, warm=first)
        found["warm_s"] = round(time.perf_counter() - begun, 3)
        assert isinstance(again, Estimates)
        found["warm_iterations"] = again.convergence.iterations
    found |= {
        "peak_mb": _peak_mb(),
        "peak_mb_before_the_fit": before,
        "columns": 1 + sum(item.term.size for item in cold.terms),
        "iterations": cold.convergence.iterations,
        "gradient": cold.convergence.gradient,
        "power": round(cold.power, 4),
        "dispersion": round(cold.dispersion, 3),
    }
    if against is not None:
        other = compared(frame, cold, against)
        whole = round(other["theirs_fixed_s"] / seconds, 1)
        found["against"] = other | {"theirs_fixed_over_our_search": whole}
    return found


def _peak_mb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


if __name__ == "__main__":
    main()
