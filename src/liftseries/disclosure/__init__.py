"""What may leave the house: counts, what must be withheld, and the attack that tries it.

**Counts are sets of sites.** *Situation:* a small count can be worked out from tables far apart. *Choice:* each printed
count says which sites stand behind it; equal sets are one number, and all sums within a table, all parts and wholes
between tables, and that patients are at most their sites, are taken to be known to a reader. The counts withheld for
others come from linear programmes (Kelly, Golden and Assad 1992, from memory); the attack is written apart. *Promised:*
no listed count of 1 to `smallest_cell` - 1 patients can be told from one of `smallest_cell` or more; the attack is made
on each bundle before it is written, and what cannot be hidden stops it. *Not promised:* anything against a reader who
knows some of the patients. *Rival:* atoms of all combinations known to the reader, under which hardly any count of 600
sites in 100 groups could be printed.

**Coarsening is searched from the coarse end,** by the information lost in bits a patient, equal to exhaustive search on
small lattices. *Rival:* greedy from the fine end. *Consequence:* k is counted on patients, a missing value matches only
a missing one; l-diversity is not promised.
"""
