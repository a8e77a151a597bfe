"""The local page beside the railway: see both rails of every track, throw, trim, prove, find faults, change the plan.

In: a layout file and a link to each board (real, or the bench's). Out: a page for browsers on this machine, and the
same commands for a terminal. One thread a board owns its serial port; every page sees one state. Reads from all other
folders; nobody imports it.
"""
