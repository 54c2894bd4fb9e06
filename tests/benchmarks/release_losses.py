"""Which rule costs which estimates: of a study with a finished run, each row of results.csv that is not told.

    python tests/benchmarks/release_losses.py STUDY

Publication only: the comparison and the audit do not leave. A row counts under the first rule that takes it.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pandas as pd

sys.path += [str(Path(__file__).parents[1] / room) for room in ("release", "report")]

from release_series import SMALLEST_CELL

from liftseries.disclosure.declared import ESTIMATE_NEEDS
from liftseries.models.questions import QUESTION_OF
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.release.entries import row_of
from liftseries.release.leaving import leaving
from liftseries.release.masking import Masked
from liftseries.report.kit.material import Material

KEY = ["analysis", "subset", "term", "method"]
BY_COLUMN = "told by a column that nothing leaves by"
OF_NOBODY = "an intercept, or a largest value: one patient's"
OF_UNTOLD = "the design effect of an estimate that is not told, or roundly"


def of_publication(results: pd.DataFrame) -> pd.Series:
    """Rows of the report for publication that have an estimate in the house."""
    asked = [QUESTION_OF.get(row_of(row).analysis) for row in results.itertuples(index=False)]
    purposes = [one is None or "publication" in one.purposes for one in asked]
    return pd.Series(purposes, results.index) & results["estimate"].notna()


def rule_of(masked: Masked, row: int, smallest_cell: int) -> str:
    """The first rule that takes a row that is left by groups and not told."""
    behind, ledger = masked.behind["results"][row], masked.ledger
    if behind is None:
        return "nobody is known to stand behind it"
    n_patients = ledger.population.n_patients
    if not min(map(n_patients, behind.rests_on), default=0):
        return OF_NOBODY
    if min(map(n_patients, behind.rests_on), default=0) < ESTIMATE_NEEDS * smallest_cell:
        return "fewer than 2k patients behind it"
    if n_patients(behind.rests_on[0]) < behind.needs:
        return "K - p"
    if behind.parts and min(map(n_patients, behind.parts)) < smallest_cell:
        return "a level, or those with the event, under k"
    names = [ledger.name_of(counted) for counted in behind.gives_away]
    if any(1 <= n_patients(counted.members) < smallest_cell for counted in behind.gives_away):
        return "rests on a count under k"
    if any(name is None or name in ledger.unprinted for name in names):
        return "rests on a count off the core"
    return "for the sake of others"


def losses(masked: Masked, material: Material, smallest_cell: int) -> pd.DataFrame:
    """Rule, analysis and whether of the headline, of each estimate that is not told."""
    whole, may = material.results, leaving(material, masked.ledger.population.cases).results
    kept, told = masked.whole.results.reset_index(drop=True), masked.material.results.reset_index(drop=True)
    place = {tuple(row): at for at, row in enumerate(kept[KEY].itertuples(index=False))}
    by_column = set(whole[KEY].itertuples(index=False, name=None)) - set(may[KEY].itertuples(index=False, name=None))
    is_told = {
        (row.analysis, row.subset, row.term)
        for at, row in enumerate(told.itertuples(index=False))
        if pd.notna(row.estimate) and ("results", at) not in masked.ledger.coarse
    }
    found = []
    for row in whole[of_publication(whole)].itertuples(index=False):
        key = tuple(getattr(row, name) for name in KEY)
        at = place.get(key)
        if at is not None and pd.notna(told["estimate"].iloc[at]):
            continue
        rule = BY_COLUMN if key in by_column else "a group that is not told"
        if at is not None:
            rule = rule_of(masked, at, smallest_cell)
        of = row_of(row)
        if row.analysis == DESIGN_EFFECT and (of.analysis, of.subset, of.term) not in is_told:
            rule = OF_UNTOLD
        bound = at is not None and pd.notna(told["conf_high"].iloc[at])
        found.append((rule, row.analysis, bool(row.headline), bound))
    return pd.DataFrame(found, columns=["rule", "analysis", "headline", "bound"])


def of_study(folder: str) -> tuple[Masked, Material]:
    """What of a study leaves, and what its report in the house is made from."""
    from liftseries.release.answers import with_answers
    from liftseries.release.coarse import with_coarse
    from liftseries.release.masking import mask
    from liftseries.release.population import read_population
    from liftseries.report.kit.material import read_material
    from liftseries.study.plan import read_plan

    plan = read_plan(Path(folder))
    material = read_material(plan.output, plan.as_written, {})
    masked = with_coarse(mask(material, read_population(plan.output, plan), SMALLEST_CELL), SMALLEST_CELL)
    return with_answers(masked, SMALLEST_CELL), material


def show(masked: Masked, material: Material) -> None:
    """The table, and then the analyses of each rule."""
    lost, all_of = losses(masked, material, SMALLEST_CELL), material.results[of_publication(material.results)]
    n_headline = int(all_of["headline"].astype(bool).sum())
    told = len(all_of) - len(lost)
    print(
        f"told {told} of {len(all_of)} ({told / len(all_of):.1%}), {len(masked.ledger.coarse)} roundly; headline",
        end=" ",
    )
    print(f"{n_headline - int(lost['headline'].sum())} of {n_headline}; bounds {int(lost['bound'].sum())}")
    print("| rule | estimates lost | design effects among them | of the headline |")
    print("|---|---|---|---|")
    for rule, rows in sorted(lost.groupby("rule"), key=lambda one: -len(one[1])):
        effects = int(rows["analysis"].eq(DESIGN_EFFECT).sum())
        print(f"| {rule} | {len(rows)} | {effects} | {int(rows['headline'].sum())} |")
    for rule, rows in lost.groupby("rule"):
        print(rule, dict(Counter(rows["analysis"]).most_common()))


if __name__ == "__main__":
    show(*of_study(sys.argv[1]))
