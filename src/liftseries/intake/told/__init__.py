"""What is told of a cell: a problem with its place, a decision taken by rule, a verdict on a value; all of it by cause.

**A message is one sentence on what stood there, then what to do.** *Situation:* a thousand cells may be wrong for one
reason, and a screen holds sixty lines. *Choice:* `causes.parted` takes a message apart at the end of its first
sentence; wordings that differ in numbers alone are one, and a cause is a rule in a column of a file. *Rival:* the two
parts handed over apart by each check, which is more to write at every place and no clearer to read. *Consequence:* a
first sentence that holds no fact, or two sentences before the remedy, are told by a test.
"""
