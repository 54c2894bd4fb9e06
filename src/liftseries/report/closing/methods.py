"""How each number was made: a paragraph an analysis, with the study's own terms and counts."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.estimators.intervals import FEW_PATIENTS
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import counted, listed, missing
from liftseries.report.kit.words import Words


def methods(material: Material, words: Words) -> Iterable[tuple[str, str]]:
    """What each paragraph is about, and its text: depths first, then the analyses in the report's order."""
    plan = material.plan.get("plan", {})
    yield from _depths(plan)
    yield (
        "Clustering",
        (
            "Sites of one patient are not independent. Intervals are by patient wherever the table's method "
            f"says so. Below {FEW_PATIENTS} patients, clustered intervals of rates, odds ratios, bone gain and "
            "depths come from Student's t, those of rates and odds ratios with a bias-reduced covariance "
            "(Mancl and DeRouen 2001, doi:10.1111/j.0006-341X.2001.00126.x); those of survival and hazards "
            "stay normal. All intervals hold 95%. A level “unknown” is missing, "
            "and models take complete cases."
        ),
    )
    yield (
        "Rates of perforation",
        (
            "Share of sites perforated. The clustered interval comes from a logistic generalised estimating "
            "equation with a constant only, exchangeable within the patient, on the logit. Wilson (1927, "
            "doi:10.1080/01621459.1927.10502953) and exact (Clopper and Pearson 1934, "
            "doi:10.1093/biomet/26.4.404) intervals take sites as independent. Where the sites of a patient are less "
            "alike than an exchangeable correlation allows, the clustered one weighs all sites alike."
            + _left_out(material, words, "perforation.rate")
        ),
    )
    yield (
        "Where nothing happened",
        (
            "Without an event no clustered interval exists. The bound of one side is then exact for as many "
            "independent chances as there are patients, 1 - 0.05^(1/n) (rule of three: Hanley and Lippman-Hand 1983, "
            "doi:10.1001/jama.1983.03330370053031); the one that counts every site stands beside it."
        ),
    )
    yield (
        "Odds of a perforation",
        (
            "Logistic generalised estimating equation, exchangeable within the patient, robust standard "
            "errors (Liang and Zeger 1986, doi:10.1093/biomet/73.1.13). Terms: "
            f"{_terms(plan, 'perforation_terms', words)}." + _left_out(material, words, "perforation.gee")
        ),
    )
    yield (
        "Few events and separation",
        (
            "Before a model of events is fitted, a linear programme asks whether its terms tell events from the "
            "rest; if so the ratio is left empty and the term named. Firth's penalty keeps estimates finite (Firth "
            "1993, doi:10.1093/biomet/80.1.27; Heinze and Schemper 2001 and 2002, "
            "doi:10.1111/j.0006-341X.2001.00114.x, doi:10.1002/sim.1047). Its profile interval takes sites as "
            "independent; the jackknife leaves out one patient at a time. Below ten events for a term the findings "
            "give the jackknife, since a sandwich gathers its variance from the few patients with an event."
        ),
    )
    yield (
        "Risk along height and lift",
        (
            "The model of the odds with one measure as a restricted cubic spline, knots at its 10th, 50th and 90th "
            "percentile. A risk is the mean over all sites used with the measure set to one value (Localio, Margolis "
            "and Berlin 2007, doi:10.1016/j.jclinepi.2006.12.001); its variance is that of the coefficients, "
            "clustered, by the delta method, and that of the patients. The p-value of the bend is that of the "
            "spline's non-linear term."
        ),
    )
    yield (
        "The model as a predictor",
        (
            f"The model is fitted to {plan.get('resamples', '?')} resamples of patients and tried on the series; the "
            "mean difference is its optimism (Harrell, Lee and Mark 1996). The c statistic's standard error sums "
            "placement values within patients (Obuchowski 1997, doi:10.2307/2533958). Then each centre is foretold "
            "by a model without it."
        ),
    )
    yield (
        "Missing terms",
        (
            f"{_imputation(plan, words)} Numbers are matched to donors, levels drawn from logistic models; what "
            "belongs to a patient is imputed once a patient. The outcome is a predictor, for survival as the event "
            "and the Nelson-Aalen hazard (White and Royston 2009, doi:10.1002/sim.3618), and is never imputed. "
            "Estimates are pooled by Rubin's rules with the degrees of freedom of Barnard and Rubin (1999, "
            "doi:10.1093/biomet/86.4.948)."
        ),
    )
    yield (
        "Survival",
        (
            "Kaplan-Meier, in implants. A failure is dated at the visit that found it, a death censors at "
            "the visit that reports it, otherwise the last visit in function censors. The variance is the "
            "patient-clustered infinitesimal jackknife, the interval on the log-log scale. Months of the "
            f"plan: {listed([f'{month:g}' for month in plan.get('survival_months', [])]) or 'none'}. The "
            "life table is actuarial, by year (Cutler and Ederer 1958, doi:10.1016/0021-9681(58)90126-7)."
            + _left_out(material, words, "survival.km", "follow_up")
        ),
    )
    yield (
        "Hazard of failure",
        (
            "Cox model with Efron's treatment of ties and a patient-clustered sandwich covariance (Lin and "
            f"Wei 1989, doi:10.1080/01621459.1989.10478874). Terms: {_terms(plan, 'survival_terms', words)}."
            + _left_out(material, words, "survival.cox")
        ),
    )
    yield (
        "Failures between visits",
        (
            "A failure lies after the last visit in function and not after the visit that found it. A Weibull "
            "accelerated failure time model takes it so; its standard errors are clustered by patient and never "
            "below the model's own. Turnbull's estimate (1976, doi:10.1111/j.2517-6161.1976.tb01597.x) needs no "
            "model; mass within an interval is spread evenly over it, and the band comes from the scatter of resampled "
            "patients, on the log-log scale." + _left_out(material, words, "survival.interval")
        ),
    )
    yield (
        "Death, months in function, first failures",
        (
            "Failures with death competing are counted by Aalen and Johansen's estimate, the interval from the "
            "patient-clustered infinitesimal jackknife. Months in function are the area under Kaplan-Meier up to a "
            "horizon (Royston and Parmar 2013, doi:10.1186/1471-2288-13-152), with the interval on the log of the "
            "months lost. A patient without a failure is followed until one of the patient's implants first falls "
            "out."
        ),
    )
    yield (
        "Hazards over time",
        (
            "The score test for a coefficient that changes with one less the survival before each failure, alone and "
            "with the score's variance from patient sums (Boos 1992, doi:10.1080/00031305.1992.10475921)."
        ),
    )
    yield (
        "Bone gain and failure",
        (
            f"Cox model from month {_number(plan.get('landmark_months', 12))} on, for implants in function then, on "
            "the last bone gain measured by then. Gain measured later would credit an implant with the time it lived "
            "to be measured "
            "(Anderson, Cain and Gelber 1983, doi:10.1200/JCO.1983.1.11.710)."
            + _left_out(material, words, "survival.gain")
        ),
    )
    yield (
        "Bone gain",
        (
            "Linear mixed model by restricted maximum likelihood, random intercepts for the patient and for "
            f"the site within the patient. Terms: {_terms(plan, 'gain_terms', words)}."
            + _left_out(material, words, "gain.mixed")
        ),
    )
    yield (
        "Agreement of depths",
        (
            "Achieved less planned last depth, restricted maximum likelihood with a patient intercept; "
            "limits are bias ± 1.96 √(variance between + within patients) (Bland and Altman 1999, "
            "doi:10.1177/096228029900800204), their intervals put those of bias and total SD together (Zou 2013, "
            "doi:10.1177/0962280211402548). Whether the error grows with the depth is asked by regressing it on the "
            "planned depth, which is known without error." + _left_out(material, words, "depth.agreement")
        ),
    )
    yield (
        "How alike sites are",
        (
            "Intraclass correlations from one-way variance components, with limits from F that are exact for groups "
            "of any size (Wald 1940; in equal groups Shrout and Fleiss 1979, doi:10.1037/0033-2909.86.2.420), that of "
            "the perforation by leaving patients out; of the bone gain also from all visits by restricted maximum "
            "likelihood. A design effect is the variance of a clustered estimate over that of independent sites."
        ),
    )
    yield (
        "What could change the answers",
        (
            "E-values: VanderWeele and Ding 2017, doi:10.7326/M16-2607. Shares of tears seen: the rate over that "
            "share (Rogan and Gladen 1978, doi:10.1093/oxfordjournals.aje.a112510), none seen that was not there. "
            "Lost implants: those whose follow-up ended in function before the month; all lasting, all failing right "
            "after their last visit, and the share at which survival falls to the lower limit of the interval."
        ),
    )
    yield (
        "Random numbers",
        (
            f"Resamples and imputed sets start from {plan.get('seed', '?')}; each has its own seed, so that the "
            "answer does not depend on how they were spread over jobs."
        ),
    )
    yield "Reference levels", _references(plan, words)


def _depths(plan) -> Iterable[tuple[str, str]]:
    margin = plan.get("first_depth_margin_mm", {})
    yield (
        "Depths",
        (
            "A pass reaches the instrument's length less what the stop takes off, plus the planned platform "
            "depth (guided; 0 freehand), below the crest. A stop marked with a length takes off its "
            "marking; one marked with a depth takes off the length that it is marked for less its marking."
        ),
    )
    yield (
        "Ladder",
        (
            f"The first rung is the deepest reachable depth that stays {_mm(margin.get('guided'))} (guided) "
            f"or {_mm(margin.get('freehand'))} (freehand) short of the lowest floor; each next one the "
            f"deepest within {_mm(plan.get('step_mm'))} of the last; the last the first that reaches the "
            f"highest floor. Depths that differ by up to {_mm(plan.get('depth_tolerance_mm'))} count as "
            f"equal, and a speed above {_number(plan.get('speed_limit_rpm'))} rpm as high."
        ),
    )
    yield (
        "Floor and lift",
        (
            "Residual bone height is the middle of its lowest and highest value over the footprint; the "
            "slope is the angle between them over the implant's diameter; the planned lift is platform "
            "depth plus implant length less residual bone height; bone gain is bone height less residual "
            "bone height."
        ),
    )


def _imputation(plan, words: Words) -> str:
    asked = plan.get("imputation") or {}
    helpers = listed([_small(words.column(name)) for name in asked.get("auxiliary", [])])
    return (
        f"{asked.get('sets', '?')} completed sets by chained equations, {asked.get('iterations', '?')} rounds each "
        "(van Buuren 2007, doi:10.1177/0962280206074463), from the model's terms, the outcome and "
        f"{helpers or 'nothing else'}."
    )


def _number(value) -> str:
    return "?" if missing(value) else f"{value:g}"


def _mm(value) -> str:
    return f"{_number(value)} mm"


def _terms(plan, key: str, words: Words) -> str:
    named = [words.column(term) for term in plan.get(key, [])]
    return listed([_small(name) for name in named]) or "none"


def _small(text: str) -> str:
    return text[0].lower() + text[1:]


def _left_out(material: Material, words: Words, *analyses: str) -> str:
    rows = material.left_out[material.left_out["analysis"].isin(analyses) & material.left_out["subset"].eq("all")]
    told = [
        f"{counted(row['n_sites'], 'site')} ({_small(words.reason(str(row['reason'])))})" for _, row in rows.iterrows()
    ]
    return f" Left out: {listed(told)}." if told else " No site was left out."


def _references(plan, words: Words) -> str:
    named = {
        term: words.reference(term)
        for key in ("perforation_terms", "survival_terms", "gain_terms")
        for term in plan.get(key, [])
        if words.reference(term)
    }
    told = [f"{words.column(term).lower()} {level.replace('_', ' ')}" for term, level in named.items()]
    return (
        f"{listed(told).capitalize() if told else 'No term has levels'}. Where a reference did not occur, "
        "the method beside the estimate names the one that stood in."
    )
