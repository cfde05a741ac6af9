"""Measures: what can be done about a verdict, each judged again with it done.

`situation` is a floor on a day as it stands, with everything a measure may change. The other
modules make changes to it: `starts` and `hands` move the work on the clock, `shelter` and
`warmth` put something up, `choices` coat another day or not at all. `ranking` judges and
sorts them.
"""
