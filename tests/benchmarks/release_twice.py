"""Two releases of a series that grew, or was corrected: what is recovered of both together.

    python tests/benchmarks/release_twice.py [SERIES]

Rates of perforation by three protocols, drawn anew for each series: 60 to 200 patients under two, 40 or 60 under the
third, of whom one to four have a perforation. Then up to 40 more come under each, or one to four are corrected. "Counts
alone": the second release as it were if the record held no number told roundly; attacked is either with all that both
tell. "Left narrow" are series with a small count that the first release and the correction alone leave fewer numbers
than it needs. Eight minutes for 200.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path += [str(Path(__file__).parents[1] / room) for room in ("release", "report")]

from rates_twice import Wave, corrected, counts_alone, masked_of, population_of
from release_series import SMALLEST_CELL

from liftseries.models.shared.population import Population
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


def released_twice(population: Population, later: Population) -> tuple[Masked, Masked]:
    """The second release, by a record of counts alone and by one of all."""
    with TemporaryDirectory() as folder:
        record(Path(folder), *told_counts(masked_of(population), SMALLEST_CELL, "first", False), population)
        before = read_before(Path(folder), later, "second")
    unaware = masked_of(later, counts_alone(before))
    return replace(unaware, ledger=replace(unaware.ledger, before=before)), masked_of(later, before)


def table_of(what: str, twice: Iterable[tuple[Masked, Masked]]) -> Iterator[str]:
    """The lines of a table of second releases, some of them unaware of what was told roundly."""
    recovered, told, narrow, n = [0, 0], [0, 0], [0, 0], 0
    for both in twice:
        n += 1
        for k, masked in enumerate(both):
            recovered[k] += bool(attacked(masked, SMALLEST_CELL).recovered)
            told[k] += int(masked.material.results["estimate"].notna().sum())
            narrow[k] += bool(masked.ledger.left)
    yield f"| {n} series {what} | with a count recovered | left narrow | estimates that the second tells |"
    yield "|---|---|---|---|"
    for name, *numbers in zip(("counts alone", "what was told roundly, too"), recovered, narrow, told, strict=True):
        yield f"| {name} | {numbers[0]} | {numbers[1]} | {numbers[2]} |"


if __name__ == "__main__":
    draw = random.Random(8)
    waves = [drawn(draw) for _ in range(int(sys.argv[1]) if len(sys.argv) > 1 else 200)]
    grown = (released_twice(population_of(first), population_of(first, later)) for first, later in waves)
    print(*table_of("released twice as they grew", grown), sep="\n", end="\n\n", flush=True)
    mended = (
        released_twice(population_of(first), corrected(population_of(first), draw.choices("ABC", k=draw.randint(1, 4))))
        for first, _ in waves
    )
    print(*table_of("released twice, corrected between", mended), sep="\n")
