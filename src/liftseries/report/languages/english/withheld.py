"""What was withheld of a report that leaves the house, and why."""

SENTENCES: dict[str, str] = {
    "counts": (
        "A count of 1 to {most:g} patients may let somebody recognise a patient, and with it what else the report says "
        "of them. Such a count, whether of patients or of sites, stands as “<{cell:g}”, as a nought does that must be "
        "withheld, or as “withheld” where even that would tell more.{mostly} Where “withheld” stands, a number is "
        "known and is not told."
    ),
    "mostly": " The series is small, so that most counts are withheld; pooled with others it could tell more.",
    "with_them": (
        "A small number can often be worked out from others: from a total and the other parts of it, from two totals "
        "that differ by few, from a rate. So some larger counts are withheld with it, as few as would do. Before this "
        "report was written, all that it tells was tried on the small counts: each of them may still be 1 as well as "
        "{most:g}.{earlier}"
    ),
    "earlier": (
        " What earlier releases told was taken as known, too; where that alone leaves a small count fewer numbers, it "
        "may still be the least as well as the most of these."
    ),
    "groups": (
        "A group of fewer than {cell:g} patients has no row of its own, one by outcome none under {median:g}, and the "
        "next smallest goes with it until those that went are enough. That none or all of a group smoke, say, is told "
        "of {quartiles:g} patients or more."
    ),
    "numbers": (
        "Rates, shares, survival and their intervals go where a count goes that they are worked out from ({numbers:# "
        "number|# numbers} in all), or are rounded, without an interval and by as much as is said beside them, and "
        "design effects are below 1.5 or not, where that leaves the count open. A mean, a ratio or a difference needs "
        "{median:g} patients behind it, quartiles {quartiles:g}; one from a model also {cell:g} patients with an event "
        "and {cell:g} without, in its level and in the one it is compared with. Standard errors, and the numbers of "
        "sites and patients behind estimates of models, are not told, as they would give others away. Each number is "
        "rounded once, from the full one."
    ),
    "records": (
        "Single records are not here at all: tables of sites and passes, rows set aside, the smallest and largest "
        "values, and these figures: {single:and}."
    ),
    "coarse": "Left out because they have not been made coarse enough: {other:and}.",
    "rows": (
        "The folder coarsened holds patients and sites as rows, without outcomes and measurements, coarse enough for "
        "k-anonymity counted on patients: at least {cell:g} share each record. It does not promise that those alike "
        "differ in what was found (l-diversity). Whatever can be counted in them counted as known when it was decided "
        "what to withhold here. Its advice.csv says which columns were made coarser or left out, the most worth while "
        "first."
    ),
    "no_rows": (
        "No rows of patients are here. There can be rows coarse enough for k-anonymity counted on patients: at least "
        "{cell:g} share each record. It does not promise that those alike differ in what was found (l-diversity). All "
        "that can be counted in such rows would be known, so that more would have to be withheld. The file "
        "coarsened/advice.csv says which columns such rows need coarser, the most worth while first."
    ),
    "missing": (
        "That nobody wrote a thing down says nothing of the patient, so counts of missing values are no secret of "
        "their own; small ones are withheld all the same, for they would give other small counts away."
    ),
    "other_reports": (
        "Not here are {reports:and} of the study, which stay in the house, as they tell groups and units apart."
    ),
    "comparison": "the comparison of groups",
    "audit": "the audit",
    "no_promise": (
        "What this does not promise: somebody who already knows much of the series, its other patients for instance, "
        "may work out more than a reader of this report alone. Sharing it stays a decision of those who answer for the "
        "data."
    ),
}
