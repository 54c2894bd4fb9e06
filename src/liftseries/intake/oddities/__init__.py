"""What is possible but odd: unlikely, or in contradiction with itself. It is listed and never refused.

**Odd, not wrong.** *Situation:* a surgery after the closing of the data, a torque of 350 N cm, one centre under two
labels: each passes every range, and each may be so. *Choice:* a list of its own, which nothing follows from, until a
person accepts an entry in study.yaml. *Rival:* to refuse, by which true rows would have to be falsified to pass.

**One entry where one slip was made.** A centre, a label or a column is told of once, at the row with the smallest key
or at no row; two rows that do not go together are told of both, since nobody can tell which is wrong. So the order of
rows changes nothing.

**Chance makes pairs.** *Situation:* among 10^5 sites thousands of pairs agree in five numbers. *Choice:* as many equal
numbers as chance makes less than half a pair of in a series of that size, five at least. *Rival:* a fixed number.
"""
