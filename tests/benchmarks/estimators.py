"""What our estimators cost beside the nearest R routine, lifelines and statsmodels, and how far the numbers agree.

    python tests/benchmarks/estimators.py [--sizes 10000 100000 1000000] [--models km aj … cusum] [--against R]

Every fit is a fresh process on one core; processor seconds are counted around the fit alone, so that neighbours on the
machine matter little; peak memory includes reading the data. A fit that takes longer than LIMIT_S is ended, one that
the previous size lets expect beyond twice that is not started. Below REPEATED_BELOW implants a fit is repeated up to
REPEATED_S seconds and its mean taken. Ratios are what to read: seconds are the machine's. Needs R with survival,
geepack, gee, lme4, brglm2, mice and npsurv (Debian: r-cran-…).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

from contests import curves, filled_and_weighted, hazards, monitoring, odds
from contests.contest import LIMIT_S, Contest, R, measured, work
from contests.simulated import simulate

SIZES = (10_000, 100_000, 1_000_000)
EXACT = 1e-8
MIB = 2**20
FAMILIES = (curves, hazards, odds, filled_and_weighted, monitoring)
CONTESTS: dict[str, Contest] = {name: one for family in FAMILIES for name, one in family.CONTESTS.items()}
Found = dict[tuple[str, str, int], dict | None]


def run(models: list[str], sizes: list[int], only_r: bool) -> Found:
    """Every fit at every size; by model, fit and size."""
    found: Found = {}
    for at, n_sites in enumerate(sizes):
        with tempfile.TemporaryDirectory() as scratch:
            simulate(Path(scratch), n_sites)
            for model in models:
                for name in fits_of(model, only_r):
                    before = found[model, name, sizes[at - 1]] if at else {"seconds": 0.0}
                    grown = n_sites / sizes[at - 1] if at else 1
                    hopeless = before is None or before["seconds"] * grown > 2 * LIMIT_S
                    one = None if hopeless else measured(__file__, model, CONTESTS[model], name, Path(scratch))
                    found[model, name, n_sites] = one
                    print(f"{n_sites} {model}, {name}: {one['seconds'] if one else 'too long'}", file=sys.stderr)
    return found


def fits_of(model: str, only_r: bool) -> list[str]:
    """Names of a contest's fits, ours first."""
    fits = CONTESTS[model].fits
    return [name for name, fit in fits.items() if not only_r or name == "ours" or isinstance(fit, R)]


def difference(ours: dict | None, theirs: dict | None, what: str) -> float | None:
    """Largest relative difference; None where one has no such numbers."""
    if not ours or not theirs or not ours[what] or not theirs[what]:
        return None
    return max(abs(a / b - 1) for a, b in zip(ours[what], theirs[what], strict=True))


def cell(found: dict | None, ours: dict | None) -> str:
    """`3.1 s, 41 ×, 271 MB`: the multiple is of our time."""
    if found is None:
        return f"> {LIMIT_S} s" + (f", > {LIMIT_S / ours['seconds']:.0f} ×" if ours else "")
    multiple = "" if found is ours or not ours else f"{found['seconds'] / ours['seconds']:.3g} ×, "
    return f"{found['seconds']:.3g} s, {multiple}{found['peak'] / MIB:.0f} MB"


def costs(found: Found, models: list[str], sizes: list[int], only_r: bool) -> None:
    """Prints the table of seconds, multiples and memory."""
    print(f"\n| fit (multiples are of our time) | {' | '.join(f'{n:,} implants' for n in sizes)} |")
    print(f"| --- |{' --- |' * len(sizes)}")
    for model in models:
        print(f"| **{CONTESTS[model].title}** |{' |' * len(sizes)}")
        for name in fits_of(model, only_r):
            cells = [cell(found[model, name, n], found[model, "ours", n]) for n in sizes]
            print(f"| {name} | {' | '.join(cells)} |")


def differences(found: Found, models: list[str], sizes: list[int], only_r: bool) -> None:
    """Prints the table of differences, and what is farther from ours than it should be."""
    print(
        f"\n| largest relative difference from ours: estimate, error or limit | {' | '.join(f'{n:,}' for n in sizes)} |"
    )
    print(f"| --- |{' --- |' * len(sizes)}")
    too_far = []
    for model in models:
        for rank, name in enumerate(fits_of(model, only_r)[1:]):
            cells = []
            for n in sizes:
                ours, theirs = found[model, "ours", n], found[model, name, n]
                pairs = [difference(ours, theirs, what) for what in ("estimate", "error")]
                cells.append(", ".join("–" if pair is None else f"{pair:.0e}" for pair in pairs))
                if rank == 0 and CONTESTS[model].exact:
                    too_far += [f"{name}, {n}: {pair:.1e}" for pair in pairs if pair is not None and pair > EXACT]
            print(f"| {CONTESTS[model].title.partition(',')[0]}: {name} | {' | '.join(cells)} |")
    print(f"\nBeyond {EXACT:g} from R: {'; '.join(too_far) if too_far else 'nothing'}")


def behind(found: Found, models: list[str], sizes: list[int]) -> None:
    """Prints where an R routine took less time than ours."""
    slower = []
    for model in models:
        for name, n in ((name, n) for name in fits_of(model, only_r=True)[1:] for n in sizes):
            ours, theirs = found[model, "ours", n], found[model, name, n]
            if theirs and (not ours or theirs["seconds"] < ours["seconds"]):
                slower.append(f"{model} of {n:,} ({name})")
    print(f"Behind R: {'; '.join(slower) if slower else 'nothing'}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", type=int, nargs="*", default=SIZES)
    parser.add_argument("--models", nargs="*", default=list(CONTESTS), choices=list(CONTESTS))
    parser.add_argument("--against", choices=("all", "R"), default="all", help="R: without the libraries of Python")
    parser.add_argument("--worker", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.worker:
        model, name, folder = options.worker
        work(CONTESTS[model], name, Path(folder))
        return
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})  # one core, for this process and all it starts
    sizes, only_r = sorted(options.sizes), options.against == "R"
    found = run(options.models, sizes, only_r)
    costs(found, options.models, sizes, only_r)
    differences(found, options.models, sizes, only_r)
    behind(found, options.models, sizes)


if __name__ == "__main__":
    main()
