"""What leaves the house: the bundle `release/`, in which no count of few patients stands or can be worked out.

**The released report is the report, fed with masked material.** *Rival:* a second report. *Consequence:* a withheld
count is `WITHHELD_COUNT` in a table and `WITHHELD` in print, and whatever is worked out from it goes along
(`rules.py`). The size of the series is the last to be withheld. Small counts of missing values go beforehand: shown,
they pinned up to 23 other small counts of the demo. Where more than a third of the counts are small, none is shown.
`release.json` holds the hash of `manifest.json` alone: with the inputs' hashes, values could be tried until one fits.

**Each headline question has an answer:** a number, a bound that is worked out from what is printed alone (`bounds`),
or what a count is below (`answers`). **Survival leaves by one set of failures a month,** those found by then; beside
it, the numbers failed before the month would tell of one who failed in it. *Consequence:* no table of those failed.

**Coarsened rows leave only on request,** since all that can be counted in them is known to a reader: on the demo, rows
of sex and smoking cost 230 of 2,169 shown counts. *Choice:* the ledger takes every combination of their columns as
known before it protects the rest. *Rival:* rows that are k-anonymous by themselves, whose totals give withheld counts
back.
"""
