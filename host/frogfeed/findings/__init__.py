"""Findings: the one type in which every part of frogfeed reports, its codes, and how it is shown.

In: nothing of the layout. Out: `Finding`, the registry of codes, and text, JSON and SARIF for people and programs.
"""
