"""How a script of the workflow runs: what it says goes to its log, what a user can mend to `problems.txt`."""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from liftseries.base.errors import StudyError, fault

PROBLEMS = Path("logs/problems.txt")

# One thread for linear algebra: jobs run side by side, and sums over threads differ in their last digits.
for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"


@contextmanager
def logged(log: str) -> Iterator[None]:
    """Runs a job's block; warnings and errors go to `log`.

    A `StudyError` ends the job with its lines on standard error, without a traceback. Any other error is ours
    and ends it with its traceback, but without its words.
    """
    with Path(log).open("w", encoding="utf-8", buffering=1) as file, warnings.catch_warnings():
        warnings.showwarning = lambda message, category, filename, lineno, *_: print(
            f"{Path(filename).name}:{lineno}: {category.__name__}: {message}", file=file
        )
        try:
            yield
        except StudyError as error:
            _tell(str(error), file)
            PROBLEMS.write_text(f"{error}\n", encoding="utf-8")
            sys.exit(1)
        except Exception as error:
            _tell(fault(error), file)
            sys.exit(1)


def joined_cases(inputs, params):
    """One row a site, from a job's `patients`, `sites` and `derived` and its bands."""
    import pandas as pd

    from liftseries.models.shared.cases import cases

    patients, sites = pd.read_parquet(inputs.patients), pd.read_parquet(inputs.sites)
    # A site may be called 12, 007 or NA: its name stays as it was written.
    texts = dict.fromkeys(("site_id", "plan_problem"), str)
    derived = pd.read_csv(inputs.derived, dtype=texts, keep_default_na=False, na_values=[""])
    return cases(patients, sites, derived, params.rbh_bands_mm, params.lift_bands_mm)


def write_estimates(output, estimates) -> None:
    """A question's rows, its design effects below them, to `estimates`; the sites it left out to `left_out`."""
    import pandas as pd

    from liftseries.base.outputs import write_csv

    tables = [table for table in (estimates.rows, estimates.design_effects) if len(table)]
    write_csv(output.estimates, pd.concat(tables, ignore_index=True) if tables else estimates.rows)
    write_csv(output.left_out, estimates.left_out)


def read_chunks(paths):
    """The tables that the jobs of one resampling left, in the order of their replicates."""
    import pandas as pd

    return pd.concat([pd.read_csv(path) for path in paths], ignore_index=True)


def _tell(text: str, file) -> None:
    print(text, file=file)
    print(text, file=sys.stderr)
