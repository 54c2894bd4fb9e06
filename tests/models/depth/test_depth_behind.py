"""Who stands behind what is told of depths, by hand."""

from fourteen_sites import assert_said, estimate, patients, row, share

from liftseries.models.depth.behind import adherence, agreement, deviation_share, ended, perforation, read


def test_depths_rest_on_the_sites_that_have_both_and_readings_on_a_gauge_before_the_floor_was_open():
    """The planned last depth of b is missing, the achieved one of e."""
    assert_said(agreement, [(row("depth.agreement", "bias", "reml"), estimate("acdfghijklmn"))])
    assert_said(read, [(row("depth.read", "bias", "reml"), estimate("ag"))])


def test_how_a_site_ended_counts_where_its_depths_are_known_too():
    """b and e have no depths, of f and l nothing is told; e alone was short."""
    known = "acdghijkmn"
    none = estimate(known, "", gives_away=[""], by_interval=[patients(known)])
    told = {"at_plan": share(known, "adhjkn"), "deeper": share(known, "cgm"), "short": none}
    assert_said(ended, [(row("depth.ended", term, "patients"), expected) for term, expected in told.items()])


def test_adherence_and_perforations_by_it():
    """Nobody judged e and n; of j nobody knows whether the membrane tore."""
    of_all = row("depth.adherence", "share", "patients")
    guided = row("depth.adherence", "share", "patients", "approach=guided")
    assert_said(adherence, [(of_all, share("abcdfghijklm", "acdgijlm")), (guided, share("abgil", "agil"))])
    yes, no = (row("depth.perforation", "rate", "patients", f"drilled_as_planned={said}") for said in ("yes", "no"))
    assert_said(perforation, [(yes, share("acdgilm", "acim")), (no, share("bfhk", "f"))])


def test_a_deviation_counts_where_it_was_judged_and_what_was_not_judged_where_there_is_a_log():
    """e and n have no log, and that of c does not tell a speed."""
    rows = [
        (row("depth.deviations", "speed_high", "patients"), share("abdfghijklm", "bf")),
        (row("depth.deviations", "speed_high not judged", "patients"), share("abcdfghijklm", "c")),
        (row("depth.deviations", "speed_high", "patients", "approach=freehand"), share("dfhjm", "f")),
        (row("depth.deviations", "speed_high not judged", "patients", "approach=freehand"), share("cdfhjm", "c")),
        (row("depth.deviations", "first_too_deep not judged", "patients"), share("abcdfghijklm", "d")),
    ]
    assert_said(deviation_share, rows)
