"""The catch model alone, on files: `fit` returns, `predict` new rows.

See `uv run python -m analytics.catchrate --help`.
"""

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

# Read when NumPy loads: more linear-algebra threads than one slow a fit down and change its last digits.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("MKL_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from tqdm import tqdm

from analytics.catchrate.document import (
    DocumentProblem,
    FitDocument,
    read_document,
    refusal_to_json,
)
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.files import FileProblem, read_returns
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.returns import features_of
from analytics.catchrate.rowwise import RowPredictions, predict_rows
from analytics.catchrate.spec import CatchSpec, DidNotWeigh, Factor

DONE, WRONG, REFUSED = 0, 1, 2

DID_NOT_WEIGH = {
    "left-out": DidNotWeigh.LEFT_OUT,
    "as-zero": DidNotWeigh.AS_ZERO,
    "censored": DidNotWeigh.CENSORED,
}

COLUMNS_HELP = """\
A file is Parquet or CSV (by its name), one row a return. Missing cells are empty; a column that is absent
was not recorded. Only date and hours, and for a fit weight_g, must be there.

  date         the day fished, 2024-05-31                 needed
  hours        effort in rod-hours                        needed
  weight_g     total weight in grams; 0 is a blank,       needed for a fit
               missing means that nobody weighed it
  water, peg, angler, bait, rig                           words, any spelling that is always the same
  peg_order    the peg's place along its bank             a number; neighbours share strength
  wind         Beaufort force 0 to 12, or a word          a word is a class of its own
  temp_c       water temperature                          degrees Celsius
  distance_m   distance fished                            metres
  is_match     true or false                              absent: true where a match day is named
  matchday     which match                                shared by all who fished it
  outcome      weighed, blank, estimated, did_not_weigh,  absent: from weight_g
               over_net_limit, counted_only, did_not_fish
  bound_g      the bound of a weight that is not known    grams: at most for did_not_weigh, at least for
                                                          over_net_limit and counted_only
  session      which rows are parts of one session        each part has its own hours; weight_g is the
                                                          total of the session
"""

FIT_HELP = f"""\
Fit the catch model: weight ~ Tweedie with log mean = log hours + session kind, wind, year, season,
distance, season x distance, water temperature + random effects of water, peg (also along the bank), angler,
bait, bait by month, rig, water by year, match day. What a file does not record is left out of the model.

{COLUMNS_HELP}
The document in --out is JSON: p, phi, deviance, gradient, iterations, rows; 'terms' with levels or grid,
estimates and standard errors on the log scale, variances; the rest is what predict needs.
Where returns are too few or say too little, the document says why (code, message, needed); it is printed to
stderr too, and the exit code is 2. A file that cannot be read gives exit code 1.

example:
  uv run python -m analytics.catchrate fit returns.csv --out fit.json
"""

PREDICT_HELP = f"""\
Predict new rows from a fit, one line a row, in the order of the file:

  eta          log grams at the row's levels and hours; a level that is absent, or was not in the fit, at zero
  eta_se       its standard error, the variance of such a level in it
  expected_g   the mean weight in grams, averaged over such levels (exp of eta and half their variances)

A match day counts as absent in a match only. Wind, year and session kind stand at the fit's reference where
the fit never saw them. A row without hours gets empty cells.

{COLUMNS_HELP}
example:
  uv run python -m analytics.catchrate predict fit.json plans.csv --out predictions.csv
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and give its exit code: 0 done, 1 a file is wrong, 2 refused."""
    options = _parser().parse_args(arguments)
    try:
        code: int = options.run(options)
    except (FileProblem, DocumentProblem) as problem:
        sys.stderr.write(f"error: {problem}\n")
        return WRONG
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m analytics.catchrate",
        description="The catch model on files: fit returns, then predict. Each command has its own --help.",
        epilog=COLUMNS_HELP
        + "\nexample:\n  uv run python -m analytics.catchrate fit returns.parquet --out fit.json\n"
        "  uv run python -m analytics.catchrate predict fit.json plans.parquet --out predictions.csv\n",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(required=True, metavar="{fit,predict}")
    _add_fit(commands)
    _add_predict(commands)
    return parser


def _add_fit(commands: Any) -> None:
    fit = commands.add_parser(
        "fit",
        help="fit the model to a file of returns",
        description=FIT_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    fit.add_argument("returns", type=Path, metavar="FILE", help="returns, .parquet or .csv")
    fit.add_argument("--out", type=Path, required=True, metavar="fit.json", help="where the document goes")
    fit.add_argument(
        "--p", type=_power, metavar="P", help="the power, between 1 and 2; estimated when not given"
    )
    fit.add_argument(
        "--did-not-weigh",
        choices=DID_NOT_WEIGH,
        default="left-out",
        help="what a weight that nobody knows is taken for: left out (the default), a blank, or anything "
        "from zero to bound_g (to the water's median weight where the row has none)",
    )
    fit.add_argument(
        "--start", type=Path, metavar="EARLIER.json", help="an earlier fit to begin from, to be quicker"
    )
    fit.add_argument("--quiet", action="store_true", help="say nothing but errors")
    fit.set_defaults(run=run_fit)


def _add_predict(commands: Any) -> None:
    predict = commands.add_parser(
        "predict",
        help="predict new rows from a fit",
        description=PREDICT_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    predict.add_argument("fit", type=Path, metavar="fit.json", help="the document of a fit")
    predict.add_argument("rows", type=Path, metavar="FILE", help="rows to predict, .parquet or .csv")
    predict.add_argument(
        "--out", type=Path, required=True, metavar="predictions.csv", help="where the predictions go"
    )
    predict.set_defaults(run=run_predict)


def _power(text: str) -> float:
    try:
        power = float(text)
    except ValueError:
        power = np.nan
    if not 1 < power < 2:
        raise argparse.ArgumentTypeError("the power lies between 1 and 2")
    return power


def chosen_spec(power: float | None, did_not_weigh: DidNotWeigh) -> CatchSpec:
    """The default model with nothing set apart as a nuisance: a row may name the match day it is of."""
    spec = CatchSpec(power=power, did_not_weigh=did_not_weigh)
    terms = [replace(term, nuisance=False) if isinstance(term, Factor) else term for term in spec.terms]
    return replace(spec, terms=tuple(terms))


def run_fit(options: argparse.Namespace) -> int:
    """Fit a file and write the document."""
    spec = chosen_spec(options.p, DID_NOT_WEIGH[options.did_not_weigh])
    start = None if options.start is None else read_document(_read(options.start))[0]
    _require_folder(options.out)
    # On a terminal one line that is written over; elsewhere nothing (None lets tqdm look).
    silent = True if options.quiet else None
    with tqdm(
        desc="reading the returns", disable=silent, bar_format="{desc} ({elapsed})", leave=False
    ) as line:
        file = read_returns(options.returns)
        found = fit_catch(file.frame, spec, lambda _done, _total, step: line.set_description_str(step), start)
    if isinstance(found, Refusal):
        document = refusal_to_json(found)
        _write(options.out, document)
        sys.stderr.write(document)
        return REFUSED
    written = FitDocument(found, spec, file.home_waters, file.absent, file.ignored)
    _write(options.out, written.to_json())
    if not options.quiet:
        sys.stdout.write(_told(found, options.out))
    return DONE


def _told(estimates: Estimates, out: Path) -> str:
    """What the fit came to, in a few lines."""
    rows, convergence = estimates.rows, estimates.convergence
    reasons = ", ".join(f"{count:,} {name.replace('_', ' ')}" for name, count in rows.left_out.items())
    lines = [
        f"{rows.used:,} returns used ({rows.first} to {rows.last}); left out: {reasons or 'none'}",
        f"p {estimates.power:.4f}, phi {estimates.dispersion:.5g}, {estimates.edf:.1f} effective degrees of "
        f"freedom; {convergence.iterations} iterations, {convergence.seconds:.1f} s",
    ]
    dropped = [f"{item.name.replace('_', ' ')} ({item.reason})" for item in estimates.dropped]
    lines += [f"not in the model: {'; '.join(dropped)}"] if dropped else []
    return "\n".join([*lines, f"written to {out}"]) + "\n"


def run_predict(options: argparse.Namespace) -> int:
    """Predict a file's rows and write one line each."""
    estimates, home_waters = read_document(_read(options.fit))
    _require_folder(options.out)
    file = read_returns(options.rows, home_waters, to_fit=False)
    found = predictions(estimates, file.frame)
    columns = {"eta": found.eta, "eta_se": found.eta_se, "expected_g": found.expected_g}
    _write(options.out, pd.DataFrame(columns).to_csv(index=False))
    return DONE


def predictions(estimates: Estimates, frame: pd.DataFrame) -> RowPredictions:
    """Predictions of a frame's rows (`files.read_returns`), in order.

    A missing water temperature is that of its month in the fit, as it was for the fit's own returns.
    """
    features, _ = features_of(frame)
    usual = np.array(estimates.reference.water_temperature_by_month, dtype=np.float64)
    given = frame["water_temperature_c"].to_numpy(np.float64)
    features["water_temperature_c"] = np.where(np.isnan(given), usual[features["month"].codes], given)
    return predict_rows(estimates, features, frame["hours"].to_numpy(np.float64))


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise DocumentProblem(f"{path.name}: cannot be read") from None


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError:
        raise FileProblem("--out cannot be written") from None


def _require_folder(path: Path) -> None:
    """Say so before a long fit, not after it."""
    if not path.parent.is_dir():
        raise FileProblem("the folder of --out does not exist")


if __name__ == "__main__":
    sys.exit(main())
