"""Critical values and p-values against printed tables, and from how many patients on the normal stands for t."""

import pytest

from liftseries.estimators.intervals import critical_value, few_patients_df, two_sided_p

# NIST/SEMATECH e-Handbook, table 1.3.6.7.2, upper 2.5 %; None: its last line, the normal.
PRINTED = {1: 12.706, 3: 3.182, 10: 2.228, 47: 2.012, None: 1.960}
HALF_A_DIGIT = 0.0005


@pytest.mark.parametrize(("df", "printed"), PRINTED.items())
def test_half_widths_are_the_printed_ones_and_leave_five_in_a_hundred(df, printed):
    assert critical_value(df) == pytest.approx(printed, abs=HALF_A_DIGIT)
    for z in (printed, -printed):
        assert two_sided_p(z, df) == pytest.approx(0.05, abs=1e-4)


def test_nothing_found_is_certain_to_come_about_by_chance():
    assert two_sided_p(0.0) == two_sided_p(0.0, 4) == 1


@pytest.mark.parametrize(("patients", "columns", "df"), [(49, 1, 48), (49, 3, 46), (50, 1, None), (2, 2, 1), (1, 3, 1)])
def test_few_patients_have_t_with_one_degree_at_least(patients, columns, df):
    assert few_patients_df(patients, columns) == df
    assert few_patients_df(patients) == few_patients_df(patients, 1)
