"""How units lie to a standard and to each other: funnels, time charts, indicators.

**A false flag of the view `case_mix` is worked out about the unit's own expected risks.** *Situation:* the contract
says "under the clustered distribution in every method", and the clustered view of the same unit is about p0. *Choice:*
beta-binomial patients about q, which is what a unit in control with these cases draws from. *Rival:* about p0, which
takes an easy or a hard case mix for chance and prints too much where units differ in it (tests/benchmarks/audit.py).

**The learning curve's intercept is moved until the mean risk is the observed share**, as in `perforation.risk`: Firth's
penalty draws rare risks towards one half. The row without it stands beside it (`firth_unmoved`).

**Charts count every year, and so do their p0 and ρ.** *Rival:* those of the audited period, by which an operator's
earlier cases would be judged.

**What was due counts from 31 December of the year of surgery**, also for implants placed at a second operation, which
`followup.completeness` gives a further year: the committee's rule is one rule.
"""
