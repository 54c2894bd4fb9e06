"""How the counts hang together: what a reader knows of them without any value.

Counts of the same sites are one *number*. Within a table, sites that belong to the same counts form an *atom*, and
every count is a sum of atoms (Hundepool et al., Statistical Disclosure Control, Wiley 2012, chapter 4: a table is a set
of linear equations over non-negative cells; from memory). Only combinations that occur become atoms: a reader who did
not know which occur would know less, so what is hidden from this one is hidden from that one too.

Between tables two relations hold: a number that stands in both is the same, and one that is made of two others without
overlap is their sum, wherever the three are printed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.sparse import csr_array, hstack, vstack

from liftseries.disclosure.counts import Count


@dataclass(frozen=True, eq=False)
class Number:
    """All counts of the same sites in the same unit.

    Attributes
    ----------
    members : shape (n_sites,), true/false; of patients, all sites of each
    unit : "sites" or "patients"
    counts : the counts that say this number
    """

    members: np.ndarray
    unit: str
    counts: tuple[Count, ...]

    @property
    def published(self) -> bool:
        return any(count.published for count in self.counts)

    @property
    def fixed(self) -> bool:
        return any(count.fixed for count in self.counts)


@dataclass(frozen=True, eq=False)
class Block:
    """Numbers that are sums of the same atoms.

    Attributes
    ----------
    numbers : shape (n_numbers,), int, indices of `Structure.numbers`
    sums : shape (n_numbers, n_atoms), 0/1: sums @ atoms = values of the numbers
    coupling : shape (n_rows, n_atoms): coupling @ atoms ≥ 0, what a patient's sites say of the patients and back
    """

    numbers: np.ndarray
    sums: csr_array
    coupling: csr_array


@dataclass(frozen=True, eq=False)
class Structure:
    """The numbers of a ledger and the blocks that bind them.

    Attributes
    ----------
    numbers
    number_of : name of a count -> index of its number
    blocks : a block a table, then one for each sum of two that no table shows side by side
    blocks_of : index of a number -> indices of the blocks that it is in
    """

    numbers: tuple[Number, ...]
    number_of: dict[str, int]
    blocks: tuple[Block, ...]
    blocks_of: dict[int, list[int]] = field(repr=False)


def structure_of(counts: Sequence[Count], patients: np.ndarray) -> Structure:
    """The structure of a ledger; its names are unique.

    Parameters
    ----------
    counts
    patients : shape (n_sites,), int
    """
    _, patient = np.unique(np.asarray(patients), return_inverse=True)
    numbers, number_of = _merged(counts, patient)
    tables: dict[str, set[int]] = defaultdict(set)
    for count in counts:
        if count.members.any():  # of nobody: nought, whatever else is printed
            tables[count.table].add(number_of[count.name])
    shown = [np.array(sorted(numbers_shown)) for numbers_shown in tables.values()]
    blocks = [_table_block(numbers, of_table, patient) for of_table in shown]
    blocks += [_sum_block(*triple) for triple in _sums_of_two(numbers) if not _in_one_table(triple, tables)]
    blocks_of: dict[int, list[int]] = defaultdict(list)
    for index, block in enumerate(blocks):
        for number in block.numbers:
            blocks_of[int(number)].append(index)
    return Structure(tuple(numbers), number_of, tuple(blocks), dict(blocks_of))


def _merged(counts: Sequence[Count], patient: np.ndarray) -> tuple[list[Number], dict[str, int]]:
    index: dict[tuple[str, bytes], int] = {}
    said: list[list[Count]] = []
    members_of, number_of = [], {}
    for count in counts:
        members = np.asarray(count.members, bool)
        if count.unit == "patients":
            members = closed(members, patient)
        number = index.setdefault((count.unit, np.packbits(members).tobytes()), len(said))
        if number == len(said):
            said.append([])
            members_of.append(members)
        said[number].append(count)
        number_of[count.name] = number
    numbers = [Number(members, of[0].unit, tuple(of)) for members, of in zip(members_of, said, strict=True)]
    return numbers, number_of


def closed(members: np.ndarray, patient: np.ndarray) -> np.ndarray:
    """All sites of the patients who have a site among the members; patients numbered 0, 1, 2 …"""
    seen = np.zeros(patient.max(initial=-1) + 1, bool)
    seen[patient[members]] = True
    return seen[patient]


def _table_block(numbers: Sequence[Number], of_table: np.ndarray, patient: np.ndarray) -> Block:
    """Atoms of a table: first those of its sites, then those of its patients."""
    of_sites = np.array([number for number in of_table if numbers[number].unit == "sites"], int)
    of_patients = np.array([number for number in of_table if numbers[number].unit == "patients"], int)
    n_sites = len(patient)
    site_sets = np.array([numbers[number].members for number in of_sites], bool).reshape(-1, n_sites)
    patient_sets = np.array([numbers[number].members for number in of_patients], bool).reshape(-1, n_sites)

    # A site's atom says what its patient belongs to as well, so that the two kinds of atom can be coupled.
    site_atoms = _distinct(np.vstack([site_sets, patient_sets])) if len(of_sites) else patient_sets[:, :0]
    patient_atoms = _distinct(patient_sets)
    within = site_atoms[: len(of_sites)], site_atoms[len(of_sites) :]
    sums = vstack(
        [
            hstack([csr_array(within[0].astype(float)), csr_array((len(of_sites), patient_atoms.shape[1]))]),
            hstack([csr_array((len(of_patients), site_atoms.shape[1])), csr_array(patient_atoms.astype(float))]),
        ]
    )
    coupling = csr_array((0, sums.shape[1]))
    if len(of_sites) and len(of_patients):
        closures = np.array([closed(members, patient) for members in site_sets])
        hit = (closures[:, None, :] == patient_sets[None, :, :]).all(axis=2)  # this site count, that count of patients
        most = int(np.bincount(patient).max())
        coupling = _coupling(within[0], within[1], patient_atoms, hit, most)
    return Block(np.concatenate([of_sites, of_patients]), csr_array(sums), coupling)


def _distinct(sets: np.ndarray) -> np.ndarray:
    """The combinations that occur, shape (n_sets, n_atoms); what is in no set is left out."""
    if not len(sets):
        return np.zeros((0, 0), bool)
    _, first = np.unique(np.packbits(sets, axis=0), axis=1, return_index=True)
    atoms = sets[:, first]
    return atoms[:, atoms.any(axis=0)]


def _coupling(
    site_atoms: np.ndarray, their_patients: np.ndarray, patient_atoms: np.ndarray, hit: np.ndarray, most: int
) -> csr_array:
    """A patient has 1 to `most` sites; one who stands behind a count of sites has at least one in it."""
    rows = []
    for atom in range(patient_atoms.shape[1]):
        own = (their_patients == patient_atoms[:, [atom]]).all(axis=0)
        one = np.zeros(patient_atoms.shape[1])
        one[atom] = 1
        rows.append(np.concatenate([own, -one]))
        rows.append(np.concatenate([-own.astype(float), most * one]))
        for of_sites in np.flatnonzero(hit @ patient_atoms[:, atom]):
            rows.append(np.concatenate([own & site_atoms[of_sites], -one]))
    return csr_array(np.unique(np.array(rows), axis=0))


def _sums_of_two(numbers: Sequence[Number]) -> list[tuple[int, int, int]]:
    """All (part, other part, whole) without overlap, of one unit.

    A random 64-bit number a site turns a set into the sum of its sites' numbers, and a union without overlap into the
    sum of two; what agrees is then compared site by site.
    """
    if not numbers:
        return []
    tickets = np.random.default_rng(0).integers(0, 2**63, len(numbers[0].members)).astype(np.uint64)
    found = []
    for unit in ("sites", "patients"):
        here = [i for i, number in enumerate(numbers) if number.unit == unit and number.members.any()]
        sums = np.array([tickets[numbers[i].members].sum(dtype=np.uint64) for i in here], np.uint64)
        place = {int(total): i for total, i in zip(sums, here, strict=True)}
        for whole, total in zip(here, sums, strict=True):
            rest = total - sums
            for position in np.flatnonzero(np.isin(rest, sums)):
                part, other = here[position], place[int(rest[position])]
                members, others = numbers[part].members, numbers[other].members
                if (
                    part < other
                    and not (members & others).any()
                    and ((members | others) == numbers[whole].members).all()
                ):
                    found.append((part, other, whole))
    return found


def _sum_block(part: int, other: int, whole: int) -> Block:
    return Block(np.array([part, other, whole]), csr_array([[1.0, 0], [0, 1], [1, 1]]), csr_array((0, 2)))


def _in_one_table(triple: tuple[int, int, int], tables: dict[str, set[int]]) -> bool:
    return any(shown.issuperset(triple) for shown in tables.values())
