"""Who is in the series: flow, characteristics, missing values.

**`n_missing` counts both kinds.** A model can use neither what was not recorded nor what was not to be recorded;
`n_not_applicable` is the latter's part.
"""
