"""From the plan's terms to columns, reference levels and what has to stay out."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.levels import as_levels, subsets


def names(table, *terms):
    return list(design_matrix(table, terms).names)


def test_numbers_stand_as_they_are_and_categories_as_contrasts(one_site_each):
    table = one_site_each(rbh_mid_mm=[4.0, 5.0, 6.5, 7.0], approach=["guided", "freehand", "guided", "freehand"])
    design = design_matrix(table, ["rbh_mid_mm", "approach"])
    assert design.names == ("(intercept)", "rbh_mid_mm", "approach[guided]")
    expected = [[1, 4, 1], [1, 5, 0], [1, 6.5, 1], [1, 7, 0]]
    np.testing.assert_array_equal(design.matrix, expected)


@pytest.mark.parametrize(
    ("column", "values", "terms"),
    [
        ("approach", ["guided", "freehand"], ["approach[guided]"]),
        ("smoking", ["current", "never", "former"], ["smoking[former]", "smoking[current]"]),
        ("sex", ["male", "female"], ["sex[male]"]),
        ("graft", ["xenograft", "none"], ["graft[xenograft]"]),
        ("septum", ["yes", "no"], ["septum[yes]"]),
        ("protocol", ["C", "A", "B"], ["protocol[B]", "protocol[C]"]),
        ("flapless", [True, False], ["flapless[true]"]),
    ],
)
def test_reference_levels_of_the_contract(one_site_each, column, values, terms):
    assert names(one_site_each(**{column: values}), column) == ["(intercept)", *terms]


def test_bands_compare_with_the_lowest(one_site_each):
    band = pd.Categorical(["≥6", "<4", "4 to <6"], ["<4", "4 to <6", "≥6"], ordered=True)
    assert names(one_site_each(rbh_band=band), "rbh_band")[1:] == ["rbh_band[4 to <6]", "rbh_band[≥6]"]


def test_nullable_true_false_with_an_empty_cell(one_site_each):
    table = one_site_each(overdrilled=pd.array([True, None, False], dtype="boolean"))
    design = design_matrix(table, ["overdrilled"])
    assert design.names == ("(intercept)", "overdrilled[true]")
    assert design.used.tolist() == [True, False, True]


def test_a_site_is_left_out_under_its_first_reason(one_site_each):
    table = one_site_each(
        rbh_mid_mm=[4.0, np.nan, np.nan, 5.0, 6.0], smoking=["never", "unknown", "never", None, "current"]
    )
    design = design_matrix(table, ["smoking", "rbh_mid_mm"])
    assert design.reasons.tolist() == ["", "smoking unknown", "rbh_mid_mm missing", "smoking unknown", ""]


def test_an_absent_reference_gives_way_and_a_note_says_so(one_site_each):
    design = design_matrix(one_site_each(smoking=["former", "current", "current"]), ["smoking"])
    assert design.names == ("(intercept)", "smoking[current]")
    assert design.notes == ("smoking against former, as no complete case is never",)


def test_a_declared_level_that_does_not_occur_has_no_column(one_site_each):
    assert names(one_site_each(sex=["female", "male", "male"]), "sex") == ["(intercept)", "sex[male]"]


def test_a_term_that_does_not_vary_is_named(one_site_each):
    design = design_matrix(one_site_each(rbh_mid_mm=[5.0, 5.0], sex=["male", "male"]), ["rbh_mid_mm", "sex"])
    assert design.names == ("(intercept)",)
    assert "does not vary" in design.problems["rbh_mid_mm"]
    assert "does not vary" in design.problems["sex"]


def test_a_column_that_follows_from_others_is_named_and_the_later_one_goes(one_site_each):
    table = one_site_each(
        approach=["guided", "freehand", "guided", "freehand", "guided"],
        protocol=["B", "A", "B", "A", "B"],
        rbh_min_mm=[3.0, 4.0, 5.0, 2.0, 6.0],
        rbh_max_mm=[4.0, 4.5, 7.0, 3.0, 6.0],
        rbh_mid_mm=[3.5, 4.25, 6.0, 2.5, 6.0],
    )
    design = design_matrix(table, ["approach", "protocol", "rbh_min_mm", "rbh_max_mm", "rbh_mid_mm"])
    assert design.names == ("(intercept)", "approach[guided]", "rbh_min_mm", "rbh_max_mm")
    assert set(design.problems) == {"protocol[B]", "rbh_mid_mm"}
    assert "protocol" not in design.factors


def test_a_year_is_not_mistaken_for_the_constant(one_site_each):
    assert names(one_site_each(surgery_year=[2019, 2020, 2019]), "surgery_year")[1:] == ["surgery_year"]


def test_a_missing_column_and_no_complete_case_are_problems(one_site_each):
    design = design_matrix(one_site_each(rbh_mid_mm=[np.nan, np.nan]), ["rbh_mid_mm", "isq"])
    assert design.problems["isq"] == "there is no such column"
    assert design.problems["rbh_mid_mm"] == "no site has all terms recorded"
    assert design.matrix.shape == (0, 1)


def test_an_empty_table(one_site_each):
    design = design_matrix(one_site_each(rbh_mid_mm=[]), ["rbh_mid_mm"])
    assert design.matrix.shape == (0, 1)
    assert list(design.problems) == ["rbh_mid_mm"]


def test_unknown_is_no_level_and_subsets_follow_the_declared_order(one_site_each):
    table = one_site_each(smoking=["current", "unknown", "never", "current"])
    assert as_levels(table["smoking"]).codes.tolist() == [2, -1, 0, 2]
    found = {name: member.tolist() for name, member in subsets(table, ["smoking"])}
    assert list(found) == ["all", "smoking=never", "smoking=current"]
    assert found["smoking=current"] == [True, False, False, True]
