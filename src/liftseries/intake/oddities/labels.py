"""Labels that are alike: the same but for case, blanks, marks, noughts; or a letter too many, two letters exchanged."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Iterator

import pandas as pd

from liftseries.intake.oddities.joined import Joined, first_rows, rows_told

BETWEEN_DIGITS = re.compile(r"(?<=\d)[\W_]+(?=\d)")
MARKS = re.compile(r"[^\w·]|_")
LEADING_NOUGHTS = re.compile(r"(?<!\d)0+(?=\d)")
WORDS = re.compile(r"[^\W\d_]+|\d+")


def fold(label: str) -> str:
    """`op1` of `OP 01`: no case, blanks, marks or leading noughts; what parts two numbers stays, 1-11 is not 11-1."""
    plain = unicodedata.normalize("NFKC", label).casefold()
    return LEADING_NOUGHTS.sub("", MARKS.sub("", BETWEEN_DIGITS.sub("·", plain)))


def folded(labels: pd.Series) -> pd.Series:
    """Each label folded; missing where it is."""
    each = {label: fold(str(label)) for label in labels.dropna().unique()}
    return labels.astype(object).map(each)


def centres_alike(joined: Joined, letters: float) -> pd.DataFrame:
    """One patient of each label."""
    return _alike(joined.tables["patients"], "centre", "patient_id", int(letters))


def operators_alike(joined: Joined, letters: float) -> pd.DataFrame:
    """One site of each label."""
    return _alike(joined.sites, "operator", "site_id", int(letters))


def _alike(table: pd.DataFrame, column: str, key: str, letters: int) -> pd.DataFrame:
    """Of labels that are alike all but the most frequent, the first in order where two are."""
    counts = table[column].dropna().astype(str).value_counts()
    told = []
    for group in groups_alike(counts.index, letters):
        kept = min(group, key=lambda label: (-counts[label], label))
        told += [label for label in group if label != kept]
    return rows_told(first_rows(table, column, key).reindex(told).to_numpy())


def groups_alike(labels: Iterable[str], letters: int) -> Iterator[list[str]]:
    """Labels that are alike, two or more together; who is like a third is in the group too.

    Parameters
    ----------
    labels : each once
    letters : fewest letters of a word that a slip of one letter may be in
    """
    leader: dict[str, str] = {}

    def lead(label: str) -> str:
        while leader.setdefault(label, label) != label:
            label = leader[label]
        return label

    of_fold: dict[str, str] = {}
    of_words: dict[tuple[str, ...], str] = {}
    for label in labels:
        leader[lead(label)] = lead(of_fold.setdefault(fold(label), label))
        of_words.setdefault(_words(label), label)
    for words, label in of_words.items():
        for slip in _slips(words, letters):
            if slip in of_words:
                leader[lead(label)] = lead(of_words[slip])
    groups = defaultdict(list)
    for label in leader:
        groups[lead(label)].append(label)
    return (group for group in groups.values() if len(group) > 1)


def _slips(words: tuple[str, ...], letters: int) -> Iterator[tuple[str, ...]]:
    """A long word without one of its letters, or with two neighbours exchanged.

    A letter for another makes another label: Linden, Minden.
    """
    for at, word in enumerate(words):
        if len(word) >= letters and word.isalpha():
            cut = (word[:k] + word[k + 1 :] for k in range(len(word)) if len(word) > letters)
            exchanged = (word[:k] + word[k + 1] + word[k] + word[k + 2 :] for k in range(len(word) - 1))
            for slip in (*cut, *exchanged):
                yield (*words[:at], slip, *words[at + 1 :])


def _words(label: str) -> tuple[str, ...]:
    plain = unicodedata.normalize("NFKC", label).casefold()
    return tuple(word.lstrip("0") or "0" for word in WORDS.findall(plain))
