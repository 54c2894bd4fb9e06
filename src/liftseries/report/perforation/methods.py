"""How rates, odds and risks of a perforation are estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.sentences import left_out, terms_named
from liftseries.report.kit.writer import Writer


def of_rates_and_odds(writer: Writer) -> Iterable[Paragraph]:
    """Rates, bounds where nothing happened, odds ratios."""
    material = writer.material
    yield Paragraph(
        lead="Rates of perforation",
        text=(
            "Sites perforated over sites known. The variance is that of the patients' sums about the share, times m / "
            "(m - 1), m the smaller of the patients with a perforation and those with a site without; the interval is "
            "on the logit, from t with K - 1 degrees of freedom, K the patients. Beside it: Wilson (1927, "
            "doi:10.1080/01621459.1927.10502953) and exact (Clopper and Pearson 1934, doi:10.1093/biomet/26.4.404), "
            "which take sites as independent; and a logistic generalised estimating equation with a constant only, "
            "which weighs patients by how alike their sites are." + left_out(material, "perforation.rate")
        ),
    )
    yield Paragraph(
        lead="Where nothing happened",
        text=(
            "Without an event no clustered interval exists. The bound of one side is then exact for as many "
            "independent chances as there are patients, 1 - 0.05^(1/n) (rule of three: Hanley and Lippman-Hand 1983, "
            "doi:10.1001/jama.1983.03330370053031). Where one patient alone has the outcome, the interval is the exact "
            "one of one patient among all."
        ),
    )
    yield Paragraph(
        lead="Odds of a perforation",
        text=(
            "Below 500 perforations: Firth's penalised logistic model, the wider of its profile interval and of the "
            "jackknife over patients. From there on: a logistic generalised estimating equation, exchangeable within "
            "the patient (Liang and Zeger 1986, doi:10.1093/biomet/73.1.13), with the larger of the bias-reduced and "
            "of the model's variance. Fewer than 5 perforations give no ratio, 5 to 9 one coefficient, 10 and more one "
            "for every five; where the plan has more terms, the first of them that fit are taken. Terms: "
            f"{terms_named(material, 'perforation_terms')}." + left_out(material, "perforation.firth")
        ),
    )


def of_risks(writer: Writer) -> Iterable[Paragraph]:
    """Standardised risks, and the model as a predictor."""
    material = writer.material
    yield Paragraph(
        lead="Risk along height and lift",
        text=(
            "A risk is the mean over all sites used with the measure set to one value (Localio, Margolis and Berlin "
            "2007, doi:10.1016/j.jclinepi.2006.12.001), from the model whose odds ratio is quoted; planned lift, where "
            "it is no term, is added to it. The penalised model's intercept is moved until its mean risk is the "
            "observed share (Puhr and others 2017, doi:10.1002/sim.7273); the variance comes from leaving patients "
            "out, each time with a fit and an intercept of its own, t with m - 1 degrees of freedom. From 20 "
            "perforations on the curve drawn is a restricted cubic spline, knots at the 10th, 50th and 90th "
            "percentile, by generalised estimating equations; the p-value of non-linearity is that of its non-linear "
            "term."
        ),
    )
    yield Paragraph(
        lead="The model as a predictor",
        text=(
            f"The model is fitted to {material.asked['resamples']} resamples of patients and tried on the series; the "
            "mean difference is its optimism (Harrell, Lee and Mark 1996). The c statistic's standard error sums "
            "placement values within patients (Obuchowski 1997, doi:10.2307/2533958). Then each centre is predicted "
            "by a model without it."
        ),
    )
