"""Survival curves, competing risks, hazard ratios and whether they stay the same, drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.base.tables import read_table
    from liftseries.engine.tables import read_estimates
    from liftseries.report.kit.figures.style import save
    from liftseries.report.kit.words import Words
    from liftseries.report.survival import figures as survival

    tables = {
        name: read_table(snakemake.input[name]) for name in ("curves", "at_risk", "turnbull", "competing", "residuals")
    }
    km, cox, ph = (read_estimates(snakemake.input[name]) for name in ("km", "cox", "ph"))
    words = Words(snakemake.params.extra_columns)

    save(survival.draw_survival(tables["curves"], tables["at_risk"], km), "figures/survival")
    between = survival.draw_survival_between_visits(tables["curves"], tables["turnbull"])
    save(between, "figures/survival_between_visits")
    save(survival.draw_survival_by_height(tables["curves"], tables["at_risk"], km), "figures/survival_by_height")
    save(survival.draw_competing_risks(tables["competing"]), "figures/competing_risks")
    save(survival.draw_hazard_ratios(cox, words), "figures/hazard_ratios")
    save(survival.draw_proportional_hazards(tables["residuals"], ph, words), "figures/proportional_hazards")
