"""Tables in, tidy estimates out; a module a question. Opens no file and knows no plan.

**What the coverage study changed** (tests/benchmarks/coverage.py). *Situation:* a sandwich gathers its variance from
the patients with an event, and eight to twenty of them are too few however many patients there are. *Choice:*
the rows of `perforation.gee` and `survival.cox` that equal R stay as the contract fixes them, and the report quotes the
penalised model's, the wider of its profile and its jackknife. `survival.interval` takes the larger of the
clustered and the model's own standard error; standardised risks, the Weibull and Turnbull curves take m / (m - 1) times
the variance, m the patients with an event; the Turnbull band is on the log-log scale, as percentiles of resamples lie
too high. *Rival:* t with m - 1 degrees of freedom, too wide for patient-level terms.
"""
