"""The proof: what is short, dead, clashing or hanging on a contact, for all settings of all drives at once.

In: a `RailNetwork`. Out: `answers`, as data. The network is contracted to groups (`contract`) and searched (`reach`);
islands too tangled for that are asked by SAT (`tangle`, `hard`, `hard_ways`). Nothing here puts anything into words.
"""
