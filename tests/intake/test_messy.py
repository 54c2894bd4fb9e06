"""Every seeded fault is decided by a rule or refused with its place; a plain reading tells of none."""

from __future__ import annotations

import pytest
from messy import LAYOUT, TYPED, fates, told_by_pandas, write_messy


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_messy(tmp_path_factory.mktemp("messy"))


@pytest.fixture(scope="module")
def found(folder):
    return fates(folder)


@pytest.mark.parametrize("kind", [*TYPED, *LAYOUT])
def test_no_fault_passes_in_silence(found, kind):
    assert found[kind]


def test_plain_reading_tells_of_none(folder):
    assert told_by_pandas(folder) == 0
