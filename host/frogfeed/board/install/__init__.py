"""Putting the firmware on a board that runs MicroPython: only what changed, proved by hash, never half.

In: a port and the firmware's files. Out: a board whose pointer file names a fresh folder; until that one rename
the old firmware is in force.
"""
