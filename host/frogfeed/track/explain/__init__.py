"""Findings: the solver's answers in words, with what each means on the railway and what cures it.

In: a layout, its network and the solver. Out: `Finding` objects (`findings.track_findings` gives all of them). Each
kind of answer has its words in a module: `shorts`, `feeding`, `pairs`, `sections`, `clearance`, `runthrough`.
"""
