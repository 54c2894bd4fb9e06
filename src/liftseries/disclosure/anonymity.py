"""k-anonymity counted on patients: how many patients share all that others may know of each of them.

    record    a patient's quasi-identifiers, and those of each of the patient's sites, the sites in no order
    class     the patients with equal records
    k         patients in the smallest class

So the number of sites is part of the record too. A missing value is equal to a missing value and to nothing else:
the strict reading, under which an empty cell hides nobody by itself. What is *not* promised: a class may still be
all alike in what was found at surgery (l-diversity), and whoever knows more columns than these may tell its patients
apart.

Source: Sweeney 2002, k-anonymity: a model for protecting privacy, doi:10.1142/S0218488502001648.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.study.schema import Table

NOTHING = -1  # the code of a missing value, and of a site that a patient does not have


def quasi_identifiers(table: Table) -> list[str]:
    """The columns that point at a person when they stand side by side; see `identifies` in the schema."""
    return [name for name, column in table.columns.items() if column.identifies == "quasi"]


def patient_classes(
    patients: pd.DataFrame, sites: pd.DataFrame, of_patient: Sequence[str], of_site: Sequence[str]
) -> np.ndarray:
    """Which patients have equal records.

    Parameters
    ----------
    patients : one row a patient, with patient_id
    sites : one row a site, with patient_id; a site whose patient is not in `patients` counts for nobody
    of_patient, of_site : the columns of either table that make up a record

    Returns
    -------
    shape (n_patients,), whole numbers from 0: equal where the records are equal
    """
    known = np.column_stack([np.empty((len(patients), 0), int), *(codes(patients[name]) for name in of_patient)])
    own = np.column_stack([np.zeros((len(sites), 1), int), *(codes(sites[name]) for name in of_site)])
    patient = pd.Index(patients["patient_id"]).get_indexer(sites["patient_id"])
    return record_classes(known, own, patient)


def record_classes(of_patient: np.ndarray, of_site: np.ndarray, patient: np.ndarray) -> np.ndarray:
    """The classes of records that are codes already.

    Parameters
    ----------
    of_patient : shape (n_patients, p), whole numbers
    of_site : shape (n_sites, q), whole numbers
    patient : shape (n_sites,), row in `of_patient`, -1 for nobody's

    Returns
    -------
    shape (n_patients,), whole numbers from 0
    """
    n_patients = len(of_patient)
    site = _rows_as_numbers(of_site)
    order = np.lexsort((site, patient))
    order = order[patient[order] >= 0]
    patient, site = patient[order], site[order]
    n_sites = np.bincount(patient, minlength=n_patients)
    starts = np.cumsum(n_sites) - n_sites
    table = np.full((n_patients, n_sites.max(initial=0)), NOTHING)
    table[patient, np.arange(patient.size) - starts[patient]] = site
    return _rows_as_numbers(np.column_stack([of_patient, table]))


def codes(column: pd.Series) -> np.ndarray:
    """A whole number for each distinct value, `NOTHING` where it is missing."""
    return pd.factorize(column.astype(object))[0]


def class_sizes(classes: np.ndarray) -> np.ndarray:
    """Patients in each patient's class, shape (n_patients,)."""
    return np.bincount(classes)[classes] if classes.size else np.zeros(0, int)


def smallest_class(classes: np.ndarray) -> int:
    """The k that the table has; 0 where there is no patient."""
    return int(class_sizes(classes).min(initial=len(classes)))


def patients_below(classes: np.ndarray, k: int) -> int:
    """How many patients are in classes of fewer than k."""
    return int((class_sizes(classes) < k).sum())


def _rows_as_numbers(table: np.ndarray) -> np.ndarray:
    """A whole number from 0 for each row, equal where the rows are."""
    if not table.size:
        return np.zeros(len(table), int)
    lowest = table.min(axis=0)
    n_values = table.max(axis=0) - lowest + 1
    if n_values.astype(float).prod() < 2**62:
        # A row as one number, in which each column has a place of its own: sorted many times as fast as rows are.
        place = np.cumprod(np.append(1, n_values[:0:-1]))[::-1]
        return np.unique((table - lowest) @ place, return_inverse=True)[1]
    return np.unique(table, axis=0, return_inverse=True)[1].reshape(-1)
