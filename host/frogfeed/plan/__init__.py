"""Which board and channel serves what, what each turnout needs done to it, and what each board is sent.

In: a layout, its rail network, and board profiles. Out: a `Plan` (or findings that say which limit binds),
the make-up of each piece, and one settings document a board, which the firmware validates again in full.
"""
