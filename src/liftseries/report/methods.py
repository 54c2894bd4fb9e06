"""How each number was made: a paragraph an analysis, with the study's own terms and counts."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.tidy import FEW_PATIENTS
from liftseries.report.material import Material
from liftseries.report.numbers import counted, listed, missing
from liftseries.report.wording import Words


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
        "Odds of a perforation",
        (
            "Logistic generalised estimating equation, exchangeable within the patient, robust standard "
            "errors (Liang and Zeger 1986, doi:10.1093/biomet/73.1.13). Terms: "
            f"{_terms(plan, 'perforation_terms', words)}." + _left_out(material, words, "perforation.gee")
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
            "doi:10.1177/096228029900800204)." + _left_out(material, words, "depth.agreement")
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
