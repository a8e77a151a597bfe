"""The part of a panel that looks after a whole board, for tests: all off, reset, and lamps for faults."""

WHOLE_BOARD = """
[button.off]
does = "all-off"
[button.again]
does = "reset"
[lamp.fault]
shows = "fault"
[lamp.t2]
shows = "fault"
feed = "T2.F"
[lamp.off]
shows = "all-off"
"""
