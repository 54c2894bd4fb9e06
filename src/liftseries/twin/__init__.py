"""A made-up copy of a study: made-up patients in tables like the real ones, to share and to try the pipeline on.

**The twin draws each column from near donors,** measurements moved by least squares and blurred, tears and failures
from logistic models. *Rivals:* sequential trees, another library; one copula, which breaks conditions between columns.
*Choice:* the tables are part of the seed, so that the noise cannot be drawn again by whoever knows the plan.
*Consequence:* what is not among a column's named predictors is lost. Agreement on four quasi-identifiers cannot be
excluded outright, since sex, smoking and two diseases alone make everyone equal to someone: no made-up record equals a
real one in all compared columns unless `smallest_cell` patients share it, and none agrees in all but one where that
points at one patient. On the demo's twin every site agrees with some real one on four of the seven compared columns, 99
% on five, 38 % on six, none on all.
"""
