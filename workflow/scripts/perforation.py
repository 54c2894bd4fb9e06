"""Perforation: rates by subset and the odds model; their figures."""

from liftseries.jobs import logged, read_cases

with logged(snakemake.log[0]):
    from liftseries.models.perforation_gee import fit_perforation_gee
    from liftseries.models.perforation_rate import fit_perforation_rate
    from liftseries.outputs import write_csv
    from liftseries.report.figures.perforation import draw_perforation_by_height, draw_perforation_odds
    from liftseries.report.figures.style import save
    from liftseries.report.wording import Words

    cases = read_cases(snakemake.input, snakemake.params)

    rate = fit_perforation_rate(cases, by=["rbh_band", "lift_band", "approach", "protocol", "centre"])
    gee = fit_perforation_gee(cases, snakemake.params.terms)
    write_csv(snakemake.output.rate, rate.rows)
    write_csv(snakemake.output.rate_left_out, rate.left_out)
    write_csv(snakemake.output.gee, gee.rows)
    write_csv(snakemake.output.gee_left_out, gee.left_out)

    save(draw_perforation_by_height(rate.rows), "figures/perforation_by_height")
    save(draw_perforation_odds(gee.rows, Words(snakemake.params.extra_columns)), "figures/perforation_odds")
