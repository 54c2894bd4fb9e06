"""The typing errors in the three centres' files, each with what the centre answers when it is asked."""

from __future__ import annotations

from typing import NamedTuple

import pandas as pd


class Fault(NamedTuple):
    """A cell of the truth by the key of its row, what was typed in it, and what the centre writes when asked."""

    centre: str
    table: str
    key: tuple[str, ...]
    column: str
    typed: str
    right: str


KEYS = {"patients": ["patient_id"], "sites": ["site_id"], "visits": ["site_id", "months"]}
FAULTS = [
    Fault("nord", "patients", ("N8",), "age_years", "sechsundvierzig", "46"),
    Fault("nord", "sites", ("N7-16",), "rbh_max_mm", "55", "5,5"),
    Fault("nord", "sites", ("N12-17",), "implant_diameter_mm", "42", "4,2"),
    Fault("nord", "visits", ("N6-25", "6.1"), "status", "in Funkton", "functioning"),
    Fault("nord", "visits", ("N6-25", "13.0"), "bone_height_mm", "9..8", "9,8"),
    Fault("sud", "patients", ("fen-012",), "sex", "hmme", "male"),
    Fault("sud", "sites", ("fen-009-26",), "tooth", "36", "26"),
    Fault("sud", "sites", ("fen-013-15",), "perforation", "peut-être", "no"),
    Fault("sud", "sites", ("fen-014-25",), "implant_length_mm", "6,5 ou 8", "6,5"),
    Fault("sud", "visits", ("fen-010-16", "12.5"), "months", "12 ou 13", "12,5"),
    Fault("sud", "visits", ("fen-008-17", "6.4"), "bone_height_mm", "9,5O", "9,5"),
    Fault("west", "patients", ("moor-012",), "age_years", "6", "65"),
    Fault("west", "sites", ("moor-013-15",), "implant_diameter_mm", "48", "4.8"),
    Fault("west", "sites", ("moor-014-14",), "perforation", "neee", "no"),
    Fault("west", "visits", ("moor-012-25", "36"), "bone_height_mm", "zie foto", "10.6"),
]
# What may be, and is a typing error all the same: nothing refuses it, it is told as odd.
ODD = [
    Fault("nord", "sites", ("N9-25",), "perforation", "no", "yes"),
    Fault("sud", "sites", ("fen-016-26",), "torque_ncm", "350", "35"),
]


def row_of(table: pd.DataFrame, fault: Fault) -> pd.Series:
    """Which row of a table a fault is in."""
    row = pd.Series(True, index=table.index)
    for name, value in zip(KEYS[fault.table], fault.key, strict=True):
        row &= table[name] == value
    assert row.sum() == 1, fault
    return row


def laid_over(tables: dict[str, pd.DataFrame], centre: str) -> dict[str, pd.DataFrame]:
    """A centre's tables with its typing errors."""
    tables = {name: table.copy() for name, table in tables.items()}
    of_centre = [fault for fault in (*FAULTS, *ODD) if fault.centre == centre]
    places = [row_of(tables[fault.table], fault) for fault in of_centre]
    for fault, row in zip(of_centre, places, strict=True):
        tables[fault.table].loc[row, fault.column] = fault.typed
    return tables
