"""How the audit was worked out."""

SENTENCES = {
    "lead_clustered": "Units",
    "clustered": "A unit's torn sites are compared with those of a unit of the same make-up: each patient's count is "
    "beta-binomial with the correlation of all patients, and the patients are added up exactly.",
    "lead_views": "Views",
    "views": "Beside it stand a binomial view, which takes sites as independent and so flags too much, and one that "
    "allows for the case mix: Firth's penalised logistic regression on {terms:and}, fitted to the other units, gives "
    "each patient a risk of its own.",
    "lead_limits": "Limits",
    "limits": "Exact tail areas: those of {alert:g} standard deviations of a normal distribution for an alert, of "
    "{alarm:g} for an alarm, one side each. Spiegelhalter 2005, doi:10.1002/sim.1970.",
    "lead_needed": "Sites needed",
    "needed": "The smallest number from which on a unit at twice the odds is flagged high with a probability of 0.8, "
    "with patients of the unit's mean size.",
    "lead_scatter": "Differences beyond chance",
    "scatter": "The sum of squared deviations over binomial variances is compared with simulated courses of the "
    "clustered distribution. A logistic-normal model, fitted by adaptive quadrature to counts over their design "
    "effects, gives the rates drawn to the mean.",
    "lead_charts": "Charts over time",
    "charts": "Risk-adjusted CUSUM, Steiner and others 2000, doi:10.1093/biostatistics/1.4.441, for odds times "
    "{ratio:g} and its inverse; all years count. The limit is that of a false alarm in {share:g} of 100 runs of "
    "{cases:# case|# cases}, by simulation with a patient's sites alike; random numbers start from {seed}. The band "
    "of observed less expected holds 95 of 100 simulated courses at each case, not of whole courses.",
    "lead_learning": "Learning",
    "learning": "Firth's penalised logistic regression on the case mix and a restricted cubic spline of the logarithm "
    "of the case number, beside each operator's own mean; the risk is averaged over all sites. It is drawn from five "
    "operators and thirty tears on.",
    "lead_years": "Years",
    "years": "Shares and their differences take patients as clusters; every year counts.",
    "lead_indicators": "Indicators",
    "indicators": "Each is a share, a mean or a Kaplan-Meier estimate with its 95% interval. What is unknown is out, "
    "and counted. Worse or better is said where the whole interval lies beyond the standard and there are sites "
    "enough; without a standard there is no verdict.",
    "lead_benchmark": "Published series",
    "benchmark": "Published counts are pooled by a binomial-normal model; the prediction interval is Higgins and "
    "others' 2009, doi:10.1111/j.1467-985X.2008.00552.x.",
}
