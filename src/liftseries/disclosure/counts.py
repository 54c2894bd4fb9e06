"""Counts that leave the house, each as the set of sites behind it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

Set = tuple[str, bytes]  # what is counted, and whom


@dataclass(frozen=True, eq=False)
class Count:
    """One number that is printed somewhere, or that a reader could work out.

    Attributes
    ----------
    name : unique in the ledger; says where the number is printed
    members : shape (n_sites,), true/false
        The sites behind the number; of `unit` "patients", the sites of the patients behind it.
    unit : "sites" or "patients"
        What is counted.
    published : printed where a reader sees it; otherwise it matters only that nobody can work it out
    fixed : known from elsewhere, such as the size of the series in its registration; never withheld
    table : what a reader sees side by side and would add and subtract
        The rows and columns of one table, the numbers under one curve, one analysis with its subsets, and their totals.
        A number that stands in two tables is two counts with the same members; the engine sees that they are one.
        Counts without a table form one together, which is the strictest reading: a reader who could tell, of all of
        them at once, which combinations occur among the patients.
    """

    name: str
    members: np.ndarray
    unit: Literal["sites", "patients"] = "sites"
    published: bool = True
    fixed: bool = False
    table: str = ""


def set_of(count: Count) -> Set:
    """Whom a count counts: those of two names that count the same are alike."""
    return count.unit, np.packbits(count.members).tobytes()


def value_of(count: Count, patients: np.ndarray) -> int:
    """What the count says: its sites, or the distinct patients among them.

    Parameters
    ----------
    count
    patients : shape (n_sites,), the number of each site's patient, from 0
    """
    members = np.asarray(count.members, bool)
    return int(members.sum()) if count.unit == "sites" else n_patients_behind(count, patients)


def n_patients_behind(count: Count, patients: np.ndarray) -> int:
    """How many distinct patients stand behind a count, whatever it counts; `patients` as in `value_of`."""
    return n_of(np.asarray(patients), np.asarray(count.members, bool))


def n_of(patients: np.ndarray, members: np.ndarray) -> int:
    """How many distinct patients some sites are of; both of shape (n_sites,)."""
    return int(np.count_nonzero(np.bincount(patients[members])))


def check_counts(counts: Iterable[Count], patients: np.ndarray) -> None:
    """Refuse a ledger whose names repeat or whose members are not one true/false a site.

    Raises
    ------
    ValueError
        All that is wrong, named.
    """
    shape, seen, faults = np.shape(patients), set(), []
    for count in counts:
        if count.name in seen:
            faults.append(f"{count.name}: the name stands twice")
        seen.add(count.name)
        if np.shape(count.members) != shape or np.asarray(count.members).dtype != bool:
            faults.append(f"{count.name}: members are not one true/false for each of {shape[0]} sites")
        if count.unit not in ("sites", "patients"):
            faults.append(f"{count.name}: a unit that is neither sites nor patients")
    if faults:
        raise ValueError("; ".join(faults))
