"""Who is in the series: the chapter of the report, the first page, the supplement."""

SENTENCES: dict[str, str] = {
    # ── first page and chapter ─────────────────────────────────────────────────────────────────────────────────
    "who": "{sites:# site|# sites} of {patients:# patient|# patients}{at}{when}.",
    "who_at": " at {centres:# centre|# centres} ({names:and})",
    "who_at_many": " at {centres:# centre|# centres}",
    "when": ", operated on from {first} to {last} by {operators:# operator|# operators}",
    "when_one_year": ", operated on in {year} by {operators:# operator|# operators}",
    "covers": "{sites:# site|# sites} of {patients:# patient|# patients}",
    "followed": (
        "Median follow-up was {months:decimal1} months{interval}, by reverse Kaplan-Meier[[ over {implants:# implant|"
        "# implants} of {patients:# patient|# patients}]]."
    ),
    "followed_interval": " ({low:decimal1} to {high:decimal1})",
    "data_end": "The data end in {month}.",
    "data_end_implied": "The plan does not say when the data end; the latest month in the tables is taken: {month}.",
    "several": (
        "Of {patients:# patient|# patients} with a site where it is known whether the membrane was perforated, "
        "{several:# patient has|# patients have} more than one site in the series."
    ),
    "nothing_set_aside": "No row was set aside.",
    "set_aside": "{rows:# row|# rows} of all tables {rows:was|were} set aside, with what depends on {rows:it|them}.",
    "set_aside_kept_in": "Rows set aside are single records; which and how many there were stays in the house.",
    "nothing_corrected": "No cell was corrected; the tables are read as they were sent.",
    "corrected": (
        "{cells:# cell|# cells} in {columns:# column|# columns} {cells:was|were} corrected over the files as they were "
        "sent{beside}, by {people:# person|# people}; each line of corrections.csv gives its reason and date."
    ),
    "corrected_beside": ", and {rows:# row|# rows} left out",
    "left_out_by_hand": "{rows:# row|# rows} {rows:was|were} left out by hand, by {people:# person|# people}.",
    "corrected_kept_in": "Cells corrected are single records; which and how many there were stays in the house.",
    "whole_rows": "Whole rows, left out",
    "corrected_note": (
        "A reference that went along with its corrected key counts as a cell. People are counted by pseudonym."
    ),
    "nothing_odd": "No entry of the tables is odd by the rules that look for what is possible but unlikely.",
    "oddities": (
        "{entries:# entry|# entries} of all tables {entries:is|are} possible but odd, by {rules:# rule|# rules}"
        "{accepted}; nothing was changed or left out for that."
    ),
    "oddities_accepted": ", {entries:# entry|# entries} accepted in the plan",
    "oddities_kept_in": (
        "Entries that are possible but odd are single records; which and how many there were stays in the house."
    ),
    "no_counts": "The run left no counts of patients and sites.",
    "months": ("January, February, March, April, May, June, July, August, September, October, November, December"),
    # ── flow ───────────────────────────────────────────────────────────────────────────────────────────────────
    "flow_alt": "Flow diagram: {boxes}.",
    "flow_box": "{title}: {people}",
    "people": "{patients:# patient|# patients}, {sites:# site|# sites}",
    "nobody": "none",
    "refused": "{column}: {rule} ({rows:# row|# rows})",
    "more_reasons": "and {reasons:# more reason|# more reasons}",
    # ── characteristics ────────────────────────────────────────────────────────────────────────────────────────
    "characteristics_note": (
        "Numbers: mean (SD), or median [quartiles] where it says so. Others: n (% of those known). Empty or unknown "
        "values stand in brackets after the name."
    ),
    "characteristics_full_note": "Numbers: mean (SD); median [quartiles]. Others: n (% of those known).",
    "in_two_groups": " A patient with sites in two groups counts in both.",
    "groups_not_shown": " {groups:# group|# groups} more {groups:is|are} not shown.",
    "too_many_groups": " The groups are too many to stand side by side; the supplement has them.",
    "without_implant": "{n} without an implant",
    "unknown": "{n} unknown",
    # ── missing values ─────────────────────────────────────────────────────────────────────────────────────────
    "no_count_of_missing": "The run left no count of missing values.",
    "nothing_missing": "No value is missing in the columns looked at.",
    "missing_note": (
        "Empty or unknown, of the sites where there was something to record. {full:# measure|# measures} looked at "
        "{full:has|have} no gap and {full:is|are} not listed."
    ),
    "set_aside_note": "A row can break more than one rule. The file set_aside.csv lists each row with its message.",
    "oddities_note": (
        "Limits are conventions of common practice without a source, where none is named. The file oddities.csv lists "
        "each entry with its place. {silent:# further rule|# further rules} told of nothing."
    ),
    # ── surgery ────────────────────────────────────────────────────────────────────────────────────────────────
    "volumes": "Volumes, medians: {volumes:and}.",
    "fluid": "{ml:decimal} ml of fluid[[ at {sites:# site|# sites}]]{times}",
    "graft": "{ml:decimal} ml of graft[[ at {sites:# site|# sites}]]{times}",
    "times_dome": " ({times:decimal1} times the spherical-cap volume of the planned lift)",
    "loading": (
        "Implants were loaded a median of {months:decimal1} months after placement[[ ({implants:# implant|# implants} "
        "with the time recorded)]]."
    ),
    "surgery_note": (
        "Intervals have patients as clusters. Volumes are of the sites where some was used. The spherical "
        "cap lies under the membrane and is as high as the planned lift{base}. Failures are counted whatever the time "
        "followed."
    ),
    "base": " over a base of {radius:g} mm radius",
    "sizes_note": "Sites where an implant was placed, by its planned size.",
    # ── methods ────────────────────────────────────────────────────────────────────────────────────────────────
    "unit": (
        "A series of crestal sinus floor lifts with implants. The unit of study is the site; sites of one patient "
        "resemble each other, and intervals allow for it. Depths run along the drilling axis, positive into bone, "
        "from 0 at the crest."
    ),
    "files": "The study folder names {files:and}.",
    "files_of": "{n:# file|# files} of {table}",
    "rows_kept": "Rows kept of rows read: {tables:and}.",
    "rows_kept_of": "{table} {kept} of {read}",
    "terms": "The plan names the terms that each model takes:",
    "terms_of": "{model}: {terms:and}",
    "perforation": "perforation",
    "survival": "implant failure",
    "gain": "bone gain",
    "pass": "A pass is one use of an instrument in the hole: a drill pass cuts, a gauge pass feels for the floor.",
    "ladder": (
        "The ladder is the plan of a site: the depths at which the operator means to stop and feel for the floor. "
        "Each of them is a rung."
    ),
    "planned_lift": (
        "The planned lift is how far the implant is to stand above the sinus floor: platform depth plus implant "
        "length less residual bone height."
    ),
    "planned_dome": "Its spherical-cap volume is that of a cap as high.",
    "deviations": "Deviations from the plan, as they are judged from the drilling log:",
    "deviation": "{title}: {means}",
}
