"""The meter on the bench: which continuity readings to take, and what lies between a rail and its supply.

In: a `RailNetwork`. Out: the shortest list of readings that any single fault spoils (`readings`, over the faults of
`faults`), and the way of one feed, step by step (`trace`).
"""
