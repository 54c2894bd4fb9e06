"""Who stands behind what is told of bone and stability, by hand.

A bone gain is known of a b c d e g h i l and n; of d the lift is missing, of l the graft. A marginal level was measured
at b d g h j and l, of g how it healed is missing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from fourteen_sites import SITES, assert_said, estimate, population, row, said

from liftseries.models.gain import behind

# Protrusion, three levels of the graft beside the reference, months: five coefficients, and the constant.
MIXED = estimate("abceghin", parts=["abceghin"], needs=16)
MARGINAL = estimate("bdhjl", parts=["bdhjl"], needs=10 + 1 + 1 + 1)  # months and healing


def test_gains_rest_on_the_sites_of_the_model_or_on_those_measured_around_a_month():
    rows = [
        (row("gain.mixed", "protrusion_mm", "reml"), MIXED),
        (row("gain.mixed", "mean at 12", "patients"), estimate("bdgh")),
        (row("gain.mixed", "mean at 24", "patients"), estimate("b")),
        (row("gain.mixed", "(intercept)", "reml"), MIXED | {"rests_on": ["abceghin", ""]}),
    ]
    assert_said(behind.mixed, rows)


def test_marginal_bone_rests_on_its_own_and_a_share_beyond_on_those_beyond_2_mm():
    """Near month 12: b 1.0, d 2.5, g 2.0, h 3.0 and j 2.2 mm; near month 18: l 0.5 mm."""
    beyond = estimate("bdghj", "dhj", gives_away=["bdghj", "dhj"], by_interval=["patients of bdghj"], share=True)
    none = estimate("l", "", gives_away=[""], by_interval=["patients of l"])
    rows = [
        (row("bone.marginal", "months", "reml"), MARGINAL),
        (row("bone.marginal", "mean at 12", "patients"), estimate("bdghj")),
        (row("bone.marginal", "beyond 2 at 12", "patients"), beyond),
        (row("bone.marginal", "beyond 2 at 18", "patients"), none),
    ]
    assert_said(behind.marginal, rows)


def test_one_population_tells_gains_and_levels_apart():
    of = population()
    assert_said(behind.mixed, [(row("gain.mixed", "protrusion_mm"), MIXED)], of)
    assert_said(behind.marginal, [(row("bone.marginal", "months"), MARGINAL)], of)
    assert said(behind.variances(of, None)) == {"rests_on": ["abceghin"]}


def test_a_recall_is_of_the_sites_measured_nearest_to_it():
    of, at = population(), next(pd.DataFrame({"months": [24.0]}).itertuples())
    assert said(behind.recall(of, at)) == {"counts": {"n": "bl"}, "rests_on": ["bl"], "seen_in": ("gain",)}
    assert said(behind.marginal_recall(of, at)) == {"counts": {"n": "l"}, "rests_on": ["l"], "seen_in": ("bone",)}


def test_a_quartile_of_torque_rests_on_those_on_either_side_and_a_mean_gives_few_away():
    """10, 20, 30, 40 and 50 Ncm of a b c d e; k has no implant. Quartiles 20, 30, 40; of a b e 15, 20, 35."""
    few = estimate("abcde", gives_away=["abcde"])
    guided = {"subset": "approach=guided"}
    rows = [
        (row("stability.torque", "mean", "patients"), few),
        (row("stability.torque", "sd", "patients"), few),
        (row("stability.torque", "q1", "patients"), estimate("abcde", parts=["ab", "cde"])),
        (row("stability.torque", "median", "patients"), estimate("abcde", parts=["abc", "de"])),
        (row("stability.torque", "q3", "patients", **guided), estimate("abe", parts=["ab", "e"])),
        (row("stability.torque", "q1", "patients", **guided), estimate("abe", parts=["a", "be"])),
        (row("stability.isq", "median", "patients"), estimate("", gives_away=[""])),
    ]
    assert_said(behind.stability, rows)


def test_a_mean_of_sixty_patients_gives_no_number_away():
    for n_patients, gives_away in ((59, 1), (60, 0)):
        site = [f"s{k}" for k in range(n_patients)]
        cases = pd.DataFrame({"site_id": site, "patient_id": site, "torque_ncm": np.arange(n_patients) + 20.0})
        none = pd.DataFrame({"site_id": []})
        of = behind.Population({}, cases, none, none)
        found = behind.stability(of, row("stability.torque", "mean", "patients"))
        assert len(found.gives_away) == gives_away
        assert found.rests_on[0].sum() == n_patients > len(SITES)
