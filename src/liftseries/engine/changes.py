"""What changed from the run kept in `output/earlier/` to the one that replaced it: rows, cells and headlines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.base.outputs import write_csv
from liftseries.base.tables import read_table
from liftseries.engine.earlier import EARLIER, RESULTS, kept_of, not_as_left
from liftseries.engine.job import Job
from liftseries.engine.standing import last_manifest
from liftseries.study.schema import TABLES, Table, read_schema

HEADLINE = ["analysis", "subset", "term", "method"]
MEASURED = ["estimate", "conf_low", "conf_high"]
SAME = 1e-9  # relative: an estimate that differs by less did not move
COUNTED = ("new", "gone", "changed")
CELLS = ["table", "key", "column", "change", "before", "after"]


@dataclass(frozen=True)
class Changes:
    """What changed since the earlier run.

    Attributes
    ----------
    rows : a row a table and one `results.csv` for the headlines: `table, new, gone, changed`
    cells : a row a new or gone row and a changed cell: `table, key, column, change, before, after`; values stand there
        for headlines alone
    headlines : a row a headline of either run: `HEADLINE`, `change` (moved, new, gone, as before), `before_estimate` …,
        `after_estimate` …, and `by`, how many of the standard errors before the estimate moved
    inputs, plan : names of the files, and keys of study.yaml, that differ
    versions : library -> its version before and now, of those that differ
    """

    rows: pd.DataFrame
    cells: pd.DataFrame
    headlines: pd.DataFrame
    inputs: tuple[str, ...]
    plan: tuple[str, ...]
    versions: Mapping[str, tuple[str, str]]


def changes_of(output: Path) -> Changes | None:
    """What changed from the earlier run to the last one; None where no earlier one was kept.

    Raises
    ------
    StudyError
        There is no finished run, or the files of either are no longer what it left.
    """
    last, earlier = last_manifest(output), last_manifest(output / EARLIER)
    if not last:
        raise StudyError([Problem(str(output), "holds no finished run. Begin with `liftseries run`.")])
    if not earlier:
        return None
    edited = not_as_left(output, last, kept_of(last))
    edited += [f"{EARLIER}/{name}" for name in not_as_left(output / EARLIER, earlier, kept_of(earlier))]
    if edited:
        again = (
            "is not as its run left it, so that nothing can be compared with it. Put it back, or take `earlier` away."
        )
        raise StudyError([Problem(str(output / name), again) for name in edited])
    return _compared(output, last, earlier)


def find_changes(job: Job) -> None:
    """clean/ and results.csv of this run, earlier/ -> how many rows of each table and how many headlines changed."""
    output = Path(".")
    earlier = last_manifest(output / EARLIER)
    found = _compared(output, {"inputs": {}, "plan": job.params.plan}, earlier)
    write_csv(job.outputs.since, found.rows)


def _compared(output: Path, last: Mapping[str, Any], earlier: Mapping[str, Any]) -> Changes:
    schema = read_schema(last["plan"]["extra_columns"])
    cells = [
        _cells_changed(
            schema[name], _texts(output / EARLIER / "clean" / f"{name}.csv"), _texts(output / "clean" / f"{name}.csv")
        )
        for name in TABLES
    ]
    moved = _headlines(read_table(output / EARLIER / RESULTS), read_table(output / RESULTS))
    of_headlines = moved["change"].replace("moved", "changed")
    rows = [_counts(name, of_table) for name, of_table in zip(TABLES, cells, strict=True)]
    rows.append({"table": RESULTS, **{change: int(of_headlines.eq(change).sum()) for change in COUNTED}})
    return Changes(
        rows=pd.DataFrame(rows),
        cells=pd.concat([*cells, _as_cells(moved)], ignore_index=True)[CELLS],
        headlines=moved,
        inputs=_differing(earlier["inputs"], last["inputs"]),
        plan=tuple(dict.fromkeys(_differing_keys(earlier["plan"], last["plan"]))),
        versions=_versions(earlier.get("versions", {}), last.get("versions", {})),
    )


def _counts(name: str, cells: pd.DataFrame) -> dict[str, Any]:
    rows = cells.drop_duplicates(["key", "change"])["change"].value_counts()
    return {"table": name, **{change: int(rows.get(change, 0)) for change in COUNTED}}


def _texts(path: Path) -> pd.DataFrame:
    """Every cell as it is written; an absent file is an empty table."""
    return pd.read_csv(path, dtype=str, keep_default_na=False) if path.is_file() else pd.DataFrame(dtype=str)


def _cells_changed(table: Table, before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Rows new and gone by their keys, and cells that differ in the rows of both; a column that one lacks is empty."""
    key = list(table.key)
    before, after = (
        side.reindex(columns=list(dict.fromkeys([*key, *side]))).set_index(key) for side in (before, after)
    )
    columns = [name for name in dict.fromkeys([*after, *before]) if name not in key]
    both = after.index.intersection(before.index)
    left = before.reindex(index=both, columns=columns, fill_value="")
    right = after.reindex(index=both, columns=columns, fill_value="")
    found = [(after.index.difference(before.index), "", "new"), (before.index.difference(after.index), "", "gone")]
    for name in columns:
        differs = (left[name] != right[name]).to_numpy(bool)
        if name in table.columns and table.columns[name].type in ("number", "integer"):
            differs &= ~_equal_numbers(left[name], right[name])
        found.append((both[differs], name, "changed"))
    parts = [
        pd.DataFrame({"table": table.name, "key": _written(keys), "column": name, "change": change})
        for keys, name, change in found
    ]
    return pd.concat(parts, ignore_index=True)


def _equal_numbers(left: pd.Series, right: pd.Series) -> np.ndarray:
    return pd.to_numeric(left, errors="coerce").eq(pd.to_numeric(right, errors="coerce")).to_numpy(bool)


def _written(keys: pd.Index) -> list[str]:
    """`s1 / 2` of a key of two columns."""
    return [" / ".join(key) if isinstance(key, tuple) else key for key in keys]


def _headlines(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Both runs' headlines side by side, in the order of the later run's, then those that are gone."""
    sides = [
        side[side["headline"].astype(str).str.lower().eq("true") & side["estimate"].notna()]
        .drop_duplicates(HEADLINE)[[*HEADLINE, *MEASURED, "std_error"]]
        .reset_index(drop=True)
        for side in (before, after)
    ]
    joined = sides[1].merge(sides[0], on=HEADLINE, how="outer", suffixes=("", "_before"), indicator="came")
    order = pd.concat([sides[1], sides[0]])[HEADLINE].drop_duplicates()
    joined = order.merge(joined, on=HEADLINE, how="left")
    old, new = (joined[f"estimate{side}"].to_numpy(float) for side in ("_before", ""))
    change = np.where(np.isclose(old, new, rtol=SAME, atol=1e-12), "as before", "moved")
    change = np.where(joined["came"].eq("left_only"), "new", np.where(joined["came"].eq("right_only"), "gone", change))
    error = joined["std_error_before"].to_numpy(float)
    by = np.divide(np.abs(new - old), error, out=np.full(len(joined), np.nan), where=error > 0)
    told = {f"before_{name}": joined[f"{name}_before"] for name in MEASURED}
    told |= {f"after_{name}": joined[name] for name in MEASURED}
    return joined[HEADLINE].assign(change=change, **told, by=by)


def _as_cells(headlines: pd.DataFrame) -> pd.DataFrame:
    told = headlines[headlines["change"] != "as before"]
    key = told[HEADLINE].astype(str).agg(" / ".join, axis=1) if len(told) else pd.Series(dtype=str)
    parts = [
        pd.DataFrame(
            {"table": RESULTS, "key": key, "column": name, "change": told["change"],
             "before": told[f"before_{name}"], "after": told[f"after_{name}"]}
        )
        for name in MEASURED
    ]  # fmt: skip
    return pd.concat(parts).sort_index(kind="stable").dropna(subset=["before", "after"], how="all")


def _differing(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(sorted(name for name in {*before, *after} if before.get(name) != after.get(name)))


def _versions(before: Mapping[str, str], after: Mapping[str, str]) -> dict[str, tuple[str, str]]:
    return {name: (before[name], after[name]) for name in _differing(before, after) if name in before and name in after}


def _differing_keys(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[str]:
    """Keys of study.yaml whose value differs; of its section `plan` those within."""
    for name in _differing(before, after):
        if name == "plan":
            yield from (f"plan.{key}" for key in _differing(before["plan"], after["plan"]))
        else:
            yield "files" if name == "read_as" else name
