"""What the tests of correction workbooks share: a faulty study, and the tables of the sound one."""

import pytest
from correction_books import faulty
from studies import write_study

from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan


@pytest.fixture
def study(tmp_path):
    return write_study(tmp_path / "study", faulty())


@pytest.fixture(scope="session")
def sound_tables(tmp_path_factory):
    return read_study(read_plan(write_study(tmp_path_factory.mktemp("sound")))).tables
