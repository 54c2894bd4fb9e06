"""Who stands behind what could change the answers, by hand."""

from __future__ import annotations

from fourteen_sites import assert_said, estimate, row

from liftseries.models.sensitivity.behind import alike, detection_contrast, filled_cells, lost

FOLLOWED = "abcdefghilmn"


def test_a_contrast_gives_the_counts_of_both_levels_away():
    """Freehand is what guided is compared with; never smoked, what current is: of j, m and n one or the other is
    unknown."""
    guided = estimate("abcdefghilm", "acefim", gives_away=["cdfhm", "abegil", "cfm", "aei"])
    current = estimate("abcdfgi", "acfi", gives_away=["abfi", "cdg", "afi", "c"])
    rows = [
        (row("sensitivity.detection_contrast", "approach[guided] 1/0.8", "exchangeable"), guided),
        (row("sensitivity.detection_contrast", "smoking[current] 0.8/1", "exchangeable"), current),
    ]
    assert_said(detection_contrast, rows)


def test_how_alike_sites_are_rests_on_those_of_which_the_quantity_is_known():
    known, torn = "abcdefghiklm", "acefim"
    rows = [
        (row("measurement.icc", "perforation"), estimate(known, torn, parts=[torn, "bdghkl"])),
        (row("measurement.icc", "gain_mm"), estimate("abcdeghiln")),
        (row("measurement.icc", "last_error_mm"), estimate("acdfghijklmn")),
        (row("measurement.icc", "torque_ncm"), estimate("abcdek")),
    ]
    assert_said(alike, rows)
    assert_said(filled_cells, [(row("sensitivity.filled_cells", "rbh_mid_mm"), None)])


def test_the_worst_case_counts_those_lost_as_failed():
    """n was lost by month 12; l, last seen at 18, by month 36, when nothing was due of b yet and f had died."""
    still_12, still_36 = "bcdefghil", "dgh"
    analysis, tipping = "sensitivity.lost_implants", "sensitivity.tipping_point"

    def at(month, still, died):
        return {"by_month": ("survival", month, FOLLOWED, still, died)}

    rows = [
        (
            row(analysis, "12", "as_observed"),
            estimate(FOLLOWED, "acim", (still_12,), gives_away=["acim"]) | at(12, still_12, ""),
        ),
        (
            row(analysis, "36", "as_observed"),
            estimate(FOLLOWED, "aceim", (still_36,), gives_away=["aceim"]) | at(36, still_36, "f"),
        ),
        (row(analysis, "36", "best_case"), estimate(FOLLOWED, "aceim", (still_36,), gives_away=["aceim"])),
        (row(analysis, "12", "worst_case"), estimate(FOLLOWED, "acimn", (still_12,), gives_away=["acim", "n"])),
        (row(analysis, "36", "worst_case"), estimate(FOLLOWED, "aceilmn", (still_36,), gives_away=["aceim", "ln"])),
        (row(tipping, "36", "tipping_point"), estimate(FOLLOWED, "aceim", (still_36,), gives_away=["aceim", "ln"])),
    ]
    assert_said(lost, rows)
