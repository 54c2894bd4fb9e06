"""What was withheld of a report that leaves the house, and why."""

SENTENCES: dict[str, str] = {
    "counts": (
        "A count of 1 to {most:g} patients may let somebody recognise a patient, and with it what else the report says "
        "of them. Such counts are not shown, whether they count patients or sites.{mostly} Where “withheld” stands, a "
        "number is known and is not told."
    ),
    "mostly": " The series is small, so that most counts are withheld; pooled with others it could tell more.",
    "with_them": (
        "A small number can often be worked out from others: from a total and the other parts of it, from two totals "
        "that differ by few, from a rate. So some larger counts are withheld with it, as few as would do, and no more "
        "can be said of which of the two a count is."
    ),
    "numbers": (
        "Rates, shares, survival and their intervals go where a count goes that they are worked out from ({numbers:# "
        "number|# numbers} in all). A mean needs {cell:g} patients behind it, a median {median:g}, quartiles "
        "{quartiles:g}. A ratio or difference from a model needs {cell:g} patients with an event and {cell:g} without, "
        "in its level and in the one it is compared with. What is shown is rounded to three significant digits, so "
        "that nothing is read off the far ones."
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
    "no_promise": (
        "What this does not promise: somebody who already knows much of the series, its other patients for instance, "
        "may work out more than a reader of this report alone. Sharing it stays a decision of those who answer for the "
        "data."
    ),
}
