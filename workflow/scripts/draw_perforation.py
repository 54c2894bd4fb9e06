"""Rates by height and lift, odds ratios, standardised risks, drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.base.tables import read_table
    from liftseries.engine.tables import read_estimates
    from liftseries.report.kit.figures.style import save
    from liftseries.report.kit.words import Words
    from liftseries.report.perforation.figures import (
        draw_perforation_by_height,
        draw_perforation_odds,
        draw_risk_curves,
    )

    words = Words(snakemake.params.extra_columns)
    save(draw_perforation_by_height(read_estimates(snakemake.input.rate)), "figures/perforation_by_height")
    save(draw_perforation_odds(read_estimates(snakemake.input.gee), words), "figures/perforation_odds")
    save(draw_risk_curves(read_table(snakemake.input.curves)), "figures/risk_curves")
