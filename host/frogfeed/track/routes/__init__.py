"""Where trains can go on a finished network: from place to place, and back to where they were, turned round.

In: a `RailNetwork`. Out: the shortest ways between two places with their settings (`ways`), return loops, and the
reversing section that cures one (`reversing`, which assembles the railway anew for each that it tries).
"""
