"""When the tears were noticed, counted by hand."""

import pandas as pd

from liftseries.models.perforation.stage import fit_perforation_stage


def test_stages_are_counted_among_the_perforated(one_site_each):
    stages = pd.Categorical(["drilling", "drilling", "lifting", None, "drilling"], ["drilling", "lifting", "placing"])
    cases = one_site_each(perforation=["yes", "yes", "yes", "yes", "no"], perforation_stage=stages)
    estimates = fit_perforation_stage(cases)
    rows = estimates.rows.set_index("term")
    assert rows["n_events"].tolist() == [2, 1, 0]
    assert rows["n_sites"].tolist() == [3, 3, 3]
    assert rows["estimate"].tolist() == [2 / 3, 1 / 3, 0]
    assert estimates.left_out["n_sites"].tolist() == [1]
