"""How survival and hazards are estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import listed
from liftseries.report.kit.sentences import left_out, terms_named
from liftseries.report.survival.follow_up import of_follow_up


def of_survival(material: Material) -> Iterable[Paragraph]:
    """Survival, hazards, and what the choices behind them are worth."""
    yield from of_follow_up(material)
    yield Paragraph(
        lead="Survival",
        text=(
            "Kaplan-Meier, in implants. A failure is dated at the visit that found it, a death censors at "
            "the visit that reports it, otherwise the last visit in function censors. The variance is the "
            "patient-clustered infinitesimal jackknife, the interval on the log-log scale. Months of the "
            f"plan: {listed([f'{month:g}' for month in material.asked['survival_months']]) or 'none'}. The "
            "life table is actuarial, by year (Cutler and Ederer 1958, doi:10.1016/0021-9681(58)90126-7)."
            + left_out(material, "survival.km", "follow_up")
        ),
    )
    yield Paragraph(
        lead="Hazard of failure",
        text=(
            "Cox model with Efron's treatment of ties and a patient-clustered sandwich covariance (Lin and "
            f"Wei 1989, doi:10.1080/01621459.1989.10478874). Terms: {terms_named(material, 'survival_terms')}."
            + left_out(material, "survival.cox")
        ),
    )
    yield Paragraph(
        lead="Failures between visits",
        text=(
            "A failure lies after the last visit in function and not after the visit that found it. A Weibull "
            "accelerated failure time model takes it so; its standard errors are clustered by patient and never "
            "below the model's own. Turnbull's estimate (1976, doi:10.1111/j.2517-6161.1976.tb01597.x) needs no "
            "model; mass within an interval is spread evenly over it, and the band comes from the scatter of resampled "
            "patients, on the log-log scale." + left_out(material, "survival.interval")
        ),
    )
    yield Paragraph(
        lead="Death, months in function, first failures",
        text=(
            "Failures with death competing are counted by Aalen and Johansen's estimate, the interval from the "
            "patient-clustered infinitesimal jackknife. Months in function are the area under Kaplan-Meier up to a "
            "horizon (Royston and Parmar 2013, doi:10.1186/1471-2288-13-152), with the interval on the log of the "
            "months lost. A patient without a failure is followed until one of the patient's implants first falls "
            "out."
        ),
    )
    yield Paragraph(
        lead="Hazards over time",
        text=(
            "The score test for a coefficient that changes with one less the survival before each failure, alone and "
            "with the score's variance from patient sums (Boos 1992, doi:10.1080/00031305.1992.10475921)."
        ),
    )
    yield Paragraph(
        lead="Bone gain and failure",
        text=(
            f"Cox model from month {material.asked['landmark_months']:g} on, for implants in function then, on "
            "the last bone gain measured by then. Gain measured later would credit an implant with the time it lived "
            "to be measured "
            "(Anderson, Cain and Gelber 1983, doi:10.1200/JCO.1983.1.11.710)." + left_out(material, "survival.gain")
        ),
    )
