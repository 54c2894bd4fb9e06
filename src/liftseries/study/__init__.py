"""What a study may be: its plan, the columns of its tables, how its files are read.

**YAML is the source of the schemas, pandera models are built from it.** *Situation:* a column's entry must say all that
is known of it, to a validator and to a clinician. *Choice:* YAML, tried against a pandera `DataFrameModel` on `stops`:
40 lines against 49. In the model unit, way of measuring and condition become untyped metadata, each "needed for depth
stops only" two hand-written checks where YAML has `needed_when` and `allowed_when`; its list of failures names every
cell of a row that fails a row check; and pandera with pandas takes 1.5 to 2 s to import, where the plan, the page and
the dictionary need the columns too. *Rival:* checks in Python, which can say anything; those stand in
`intake/checks/across.py`. *Consequence:* `intake/checks/rows.py` builds pandera's columns; expressions in YAML stay
simple enough to read aloud.
"""
