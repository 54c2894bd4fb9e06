"""From a study folder to checked tables; the only part that opens one.

**What goes when a row is set aside** (`set_aside.py`). *Choice:* a bad pass takes the site's whole log, a bad visit the
site's whole follow-up; a repeated key takes all its rows, since nobody can tell which is right. The site stays.
*Rival:* the bad row alone, which keeps more and can be wrong in silence.

**Order means nothing.** *Situation:* with shuffled rows Turnbull's estimate, the examples picked and the draws of a
bootstrap differed. *Choice:* the rows kept leave here in the order of their keys, whatever file they stood in. *Rival:*
each analysis sorts, and one forgets. *Consequence:* `clean/` is in that order; set_aside.csv tells the rows as filed.

**The audit's cycle is read apart.** *Situation:* actions, replies and changes carry no estimate, and are added days
before a meeting. *Choice:* `check` reads them with the rest, a run in a job of its own, so that a new reply draws no
bootstrap again; a fault in them stops the run whatever `invalid_rows` says. *Rival:* rows set aside, by which a unit's
reply would be missing beside its flag.
"""
