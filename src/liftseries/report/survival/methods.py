"""How survival and hazards are estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import listed
from liftseries.report.kit.sentences import left_out, terms_named
from liftseries.report.kit.writer import Writer
from liftseries.report.survival.follow_up import of_follow_up


def of_survival(writer: Writer) -> Iterable[Paragraph]:
    """Survival, as `_of_survival`; nothing without a visit."""
    material = writer.material
    if material.has_visits:
        yield from _of_survival(material)


def _of_survival(material: Material) -> Iterable[Paragraph]:
    """Survival, hazards, and what the choices behind them are worth."""
    yield from of_follow_up(material)
    yield Paragraph(
        lead="Survival",
        text=(
            "Kaplan-Meier, in implants. A failure is dated at the visit that found it, a death censors at "
            "the visit that reports it, otherwise the last visit in function censors. The variance is the "
            "patient-clustered infinitesimal jackknife times m / (m - 1), m the patients with a failure by the month, "
            "the interval on the log-log scale; with m = 1 the exact interval of 1 among the patients followed until "
            "then, with m = 0 a bound of one side. Survival is stated while 20 implants, and a tenth of all, are at "
            "risk, and curves end there. Months of the "
            f"plan: {listed([f'{month:g}' for month in material.asked['survival_months']]) or 'none'}. The "
            "life table is actuarial, by year (Cutler and Ederer 1958, doi:10.1016/0021-9681(58)90126-7)."
            + left_out(material, "survival.km", "follow_up")
        ),
    )
    yield Paragraph(
        lead="Hazard of failure",
        text=(
            "Cox model with Efron's treatment of ties. Below 500 failures the report quotes Firth's penalised model "
            "(Heinze and Schemper 2001, doi:10.1111/j.0006-341X.2001.00114.x) with the wider of the profile and the "
            "patient jackknife; from there on the patient-clustered sandwich (Lin and Wei 1989, "
            "doi:10.1080/01621459.1989.10478874) times m / (m - 1), never below the model's own variance, with "
            "t(m - 1), m the patients with a failure or those without, whichever are fewer. Below 5 failures there is "
            "no ratio, below 10 one coefficient, then one for each five failures: the plan's first terms. Terms: "
            f"{terms_named(material, 'survival_terms')}." + left_out(material, "survival.cox")
        ),
    )
    yield from _other_ways(material)


def _other_ways(material: Material) -> Iterable[Paragraph]:
    """What stands beside the quoted rows, and the questions after them."""
    yield Paragraph(
        lead="Failures between visits",
        text=(
            "A failure lies after the last visit in function and not after the visit that found it. A Weibull "
            "accelerated failure time model takes it so; its standard errors are clustered by patient and never "
            "below the model's own. Turnbull's estimate (1976, doi:10.1111/j.2517-6161.1976.tb01597.x) needs no "
            "model; mass within an interval is spread evenly over it, and the interval comes from the scatter of "
            "resampled patients, on the log-log scale." + left_out(material, "survival.interval")
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
            "with the score's variance from patient sums (Boos 1992, doi:10.1080/00031305.1992.10475921); from 20 "
            "failures on."
        ),
    )
    yield Paragraph(
        lead="Bone gain and failure",
        text=(
            f"The same model from month {material.asked['landmark_months']:g} on, for implants in function then, on "
            "the last bone gain measured by then. Gain measured later would credit an implant with the time it lived "
            "to be measured "
            "(Anderson, Cain and Gelber 1983, doi:10.1200/JCO.1983.1.11.710)." + left_out(material, "survival.gain")
        ),
    )
