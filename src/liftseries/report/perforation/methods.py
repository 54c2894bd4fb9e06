"""How rates, odds and risks of a perforation are estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import left_out, terms_named


def of_rates_and_odds(material: Material) -> Iterable[Paragraph]:
    """Rates, bounds where nothing happened, odds ratios."""
    yield Paragraph(
        lead="Rates of perforation",
        text=(
            "Share of sites perforated. The clustered interval comes from a logistic generalised estimating "
            "equation with a constant only, exchangeable within the patient, on the logit. Wilson (1927, "
            "doi:10.1080/01621459.1927.10502953) and exact (Clopper and Pearson 1934, "
            "doi:10.1093/biomet/26.4.404) intervals take sites as independent. Where the sites of a patient are less "
            "alike than an exchangeable correlation allows, the clustered one weighs all sites alike."
            + left_out(material, "perforation.rate")
        ),
    )
    yield Paragraph(
        lead="Where nothing happened",
        text=(
            "Without an event no clustered interval exists. The bound of one side is then exact for as many "
            "independent chances as there are patients, 1 - 0.05^(1/n) (rule of three: Hanley and Lippman-Hand 1983, "
            "doi:10.1001/jama.1983.03330370053031); the one that counts every site stands beside it."
        ),
    )
    yield Paragraph(
        lead="Odds of a perforation",
        text=(
            "Logistic generalised estimating equation, exchangeable within the patient, robust standard "
            "errors (Liang and Zeger 1986, doi:10.1093/biomet/73.1.13). Terms: "
            f"{terms_named(material, 'perforation_terms')}." + left_out(material, "perforation.gee")
        ),
    )


def of_risks(material: Material) -> Iterable[Paragraph]:
    """Standardised risks, and the model as a predictor."""
    yield Paragraph(
        lead="Risk along height and lift",
        text=(
            "The model of the odds with one measure as a restricted cubic spline, knots at its 10th, 50th and 90th "
            "percentile. A risk is the mean over all sites used with the measure set to one value (Localio, Margolis "
            "and Berlin 2007, doi:10.1016/j.jclinepi.2006.12.001); its variance is that of the coefficients, "
            "clustered, by the delta method, and that of the patients. The p-value of the bend is that of the "
            "spline's non-linear term."
        ),
    )
    yield Paragraph(
        lead="The model as a predictor",
        text=(
            f"The model is fitted to {material.asked['resamples']} resamples of patients and tried on the series; the "
            "mean difference is its optimism (Harrell, Lee and Mark 1996). The c statistic's standard error sums "
            "placement values within patients (Obuchowski 1997, doi:10.2307/2533958). Then each centre is foretold "
            "by a model without it."
        ),
    )
