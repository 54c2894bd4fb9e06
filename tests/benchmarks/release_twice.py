"""Two releases of a series that grew: what is recovered of both together, by whether what was told roundly is minded.

    python tests/benchmarks/release_twice.py [SERIES]

Rates of perforation by three protocols, drawn anew for each series: 60 to 200 patients under two, 40 or 60 under the
third, of whom one to four have a perforation; later up to 40 more under each. "Counts alone": the second release as it
were if the record held no number told roundly; attacked is either with all that both tell. Four minutes for 200.
"""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path += [str(Path(__file__).parents[1] / room) for room in ("release", "report")]

from rates_twice import Wave, counts_alone, masked_of, population_of
from release_series import SMALLEST_CELL

from liftseries.release.before import read_before, record
from liftseries.release.check import attacked
from liftseries.release.masking import Masked
from liftseries.release.recorded import told_counts


def drawn(draw: random.Random) -> tuple[Wave, Wave]:
    """The patients at first, and those who came later."""
    first = {}
    for protocol in "AB":
        n = draw.choice([60, 100, 200])
        first[protocol] = (n, draw.randint(12, n // 3))
    first["C"] = (draw.choice([40, 60]), draw.randint(1, 4))
    later = {}
    for protocol, most in zip("ABC", (6, 6, 12), strict=True):
        n = draw.choice([0, 1, 6, 8, 20, 40])
        later[protocol] = (n, draw.randint(0, min(n, most)))
    return first, later


def released_twice(first: Wave, later: Wave) -> tuple[Masked, Masked]:
    """The second release, by a record of counts alone and by one of all."""
    population, grown = population_of(first), population_of(first, later)
    with TemporaryDirectory() as folder:
        record(Path(folder), *told_counts(masked_of(population), SMALLEST_CELL, "first", False), population)
        before = read_before(Path(folder), grown, "second")
    unaware = masked_of(grown, counts_alone(before))
    return replace(unaware, ledger=replace(unaware.ledger, before=before)), masked_of(grown, before)


if __name__ == "__main__":
    n_series, draw = int(sys.argv[1]) if len(sys.argv) > 1 else 200, random.Random(8)
    recovered, told = [0, 0], [0, 0]
    for _ in range(n_series):
        for k, masked in enumerate(released_twice(*drawn(draw))):
            recovered[k] += bool(attacked(masked, SMALLEST_CELL).recovered)
            told[k] += int(masked.material.results["estimate"].notna().sum())
    print(f"| {n_series} series released twice | with a count recovered | estimates that the second tells |")
    print("|---|---|---|")
    for name, *numbers in zip(("counts alone", "what was told roundly, too"), recovered, told, strict=True):
        print(f"| {name} | {numbers[0]} | {numbers[1]} |")
