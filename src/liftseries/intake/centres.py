"""Whose row it is: the centre that a problem goes to."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from liftseries.intake.draft.draft import Draft
from liftseries.intake.told.findings import Finding

SCREENED = ("text_is_no_identifier", "header_is_no_identifier")
UP = {"sites": "patient_id", "steps": "site_id", "visits": "site_id"}  # by which a row names the row above


def centres_of(drafts: Mapping[str, Draft]) -> Callable[[Finding], str]:
    """For a finding the centre of its row, or of its file where all rows of that are one centre's; "" if unknown."""
    of_rows = _of_rows(drafts)
    of_files = {}
    for name, centres in of_rows.items():
        draft = drafts[name]
        for file_no, source in enumerate(draft.sources):
            known = set(centres[draft.file_no == file_no]) - {""}
            of_files[name, source.label] = known.pop() if len(known) == 1 else ""

    def centre_of(finding: Finding) -> str:
        row = of_rows[finding.table][finding.index] if finding.index is not None and finding.table in of_rows else ""
        return row or of_files.get((finding.table, finding.file), "")

    return centre_of


def _of_rows(drafts: Mapping[str, Draft]) -> dict[str, np.ndarray]:
    """By table, of shape (n_rows,)."""
    found: dict[str, np.ndarray] = {}
    if "patients" not in drafts or _name_persons(drafts["patients"]):
        return found
    patients = drafts["patients"]
    found["patients"] = np.where(patients.known("centre"), patients.frame["centre"].astype(object), "")
    by_key = {"patient_id": _by_key(patients, found["patients"])}
    for name, reference in UP.items():
        if name in drafts and reference in by_key:
            found[name] = drafts[name].frame[reference].map(by_key[reference]).fillna("").to_numpy(object)
        if name == "sites" and name in found:
            by_key["site_id"] = _by_key(drafts[name], found[name])
    return found


def _name_persons(patients: Draft) -> bool:
    """A column of centres in which the screen saw an identifier names no sheet."""
    return any(finding.column == "centre" and finding.rule in SCREENED for finding in patients.findings)


def _by_key(draft: Draft, centres: np.ndarray) -> pd.Series:
    by_key = pd.Series(centres, index=draft.frame[draft.table.key[0]])
    return by_key[by_key.index.notna() & ~by_key.index.duplicated(keep=False)]
