"""Tables in, tidy estimates out; a module a question. Opens no file and knows no plan.

**What the coverage study changed** (tests/benchmarks/coverage.py). *Situation:* a sandwich gathers its variance from
the patients with an event, and eight to twenty of them are too few however many patients there are. *Choice:*
`perforation.gee` and `survival.cox` stay as the contract fixes them, equal to R, and their `method` names the jackknife
rows to read below ten events for a term; the report's findings take those. `survival.interval` takes the larger of the
clustered and the model's own standard error; standardised risks, the Weibull and Turnbull curves take m / (m - 1) times
the variance, m the patients with an event; the Turnbull band is on the log-log scale, as percentiles of resamples lie
too high. *Rival:* t with m - 1 degrees of freedom, too wide for patient-level terms.
"""
