"""What a cell means: a number, a tooth, a unit, a level, a missing value.

A way to take a cell is a rule with a name of its own, which gives the value and a `Decision`, or refuses with what to
do. If two people could mean different things by the cell, it refuses.

**Words are confirmed, not guessed.** *Situation:* `-`, `x` and `n/a` mean different things in different hands.
*Choice:* refused, with the lines for study.yaml that would confirm them. *Rival:* a built-in list of words, right most
times and silent when wrong.

**Universal tooth numbers are judged by the column.** *Situation:* 14 to 18 and 24 to 28 exist in both systems.
*Choice:* a file that only Universal explains is refused once, and study.yaml decides. *Rival:* translation by majority.
"""
