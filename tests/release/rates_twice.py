"""Rates of perforation by protocol of a made-up series that is released twice: some patients at first, more later."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace

import pandas as pd
from release_series import SMALLEST_CELL, made_of

from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.shared.population import Population
from liftseries.release.before import Before
from liftseries.release.coarse import with_coarse
from liftseries.release.masking import Masked, mask

Wave = Mapping[str, tuple[int, int]]  # protocol -> patients of a site each, how many of them have a perforation


def population_of(*waves: Wave) -> Population:
    """The patients of all waves."""
    rows = [
        (f"{protocol}{wave}-{at}", protocol, "yes" if at < n_events else "no")
        for wave, of in enumerate(waves)
        for protocol, (n, n_events) in of.items()
        for at in range(n)
    ]
    cases = pd.DataFrame(rows, columns=["site_id", "protocol", "perforation"])
    cases = cases.assign(patient_id=cases["site_id"], protocol=pd.Categorical(cases["protocol"]), remark="")
    none = pd.DataFrame({"site_id": [], "months": [], "status": []})
    return Population({}, cases, none, none)


def corrected(population: Population, protocols: Iterable[str]) -> Population:
    """The same, a patient corrected for each time a protocol is named: in turn one with, one without a perforation."""
    cases = population.cases.copy()
    for protocol, times in Counter(protocols).items():
        for was, becomes in (("yes", "no"), ("no", "yes")):
            of_these = population.cases["protocol"].eq(protocol) & population.cases["perforation"].eq(was)
            cases.loc[cases.index[of_these][: times // 2 + times % 2 * (was == "yes")], "perforation"] = becomes
    return replace(population, cases=cases)


def masked_of(population: Population, before: Before | None = None) -> Masked:
    """What leaves of their rates."""
    whole = made_of("empty").whole
    nothing = {name: table.iloc[:0] for name, table in whole.tables.items()}
    results = fit_perforation_rate(population.cases, ["protocol"]).rows
    masked = mask(replace(whole, tables=nothing | {"results": results}), population, SMALLEST_CELL, before=before)
    return with_coarse(masked, SMALLEST_CELL)


def counts_alone(before: Before) -> Before:
    """As if no more had been recorded than the counts that were told."""
    return replace(before, counts=[count for count in before.counts if count.fixed], told=[], roundly={})
