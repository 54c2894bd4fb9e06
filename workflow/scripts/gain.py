"""Bone gain at the visits: the mixed model; its figures."""

from liftseries.jobs import logged, read_cases

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.gain_mixed import fit_gain_mixed, gain_at_visits
    from liftseries.outputs import write_csv
    from liftseries.report.figures.gain import draw_gain_by_visit, draw_gain_terms
    from liftseries.report.figures.style import save
    from liftseries.report.wording import Words

    visits = pd.read_parquet(snakemake.input.visits)
    cases = read_cases(snakemake.input, snakemake.params)

    gain = fit_gain_mixed(visits, cases, snakemake.params.terms)
    write_csv(snakemake.output.estimates, gain.rows)
    write_csv(snakemake.output.left_out, gain.left_out)
    write_csv(snakemake.output.variances, gain.variances)
    write_csv(snakemake.output.by_visit, gain.by_visit)

    save(draw_gain_by_visit(gain.by_visit, gain_at_visits(visits, cases)), "figures/gain_by_visit")
    save(draw_gain_terms(gain.rows, Words(snakemake.params.extra_columns)), "figures/gain_terms")
