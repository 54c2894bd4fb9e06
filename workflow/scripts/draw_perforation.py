"""Rates by height and lift, odds ratios, standardised risks, drawn."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    from liftseries.report.figures.perforation import (
        draw_perforation_by_height,
        draw_perforation_odds,
        draw_risk_curves,
    )
    from liftseries.report.figures.style import save
    from liftseries.report.material import read_estimates, read_table
    from liftseries.report.wording import Words

    words = Words(snakemake.params.extra_columns)
    save(draw_perforation_by_height(read_estimates(snakemake.input.rate)), "figures/perforation_by_height")
    save(draw_perforation_odds(read_estimates(snakemake.input.gee), words), "figures/perforation_odds")
    save(draw_risk_curves(read_table(snakemake.input.curves)), "figures/risk_curves")
