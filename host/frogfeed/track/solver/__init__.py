"""The proof: what is short, dead, clashing or hanging on a contact, for all settings of all drives at once.

In: a `RailNetwork`. Out: `answers`, as data, by way of `solver`. The network is contracted to groups (`contract`) and
searched (`reach`); islands too tangled for that are asked by SAT (`tangle`, `hard`, `hard_ways`). On what `search` then
knows stand the questions: `shorts`, `feeding` (one rail), `pairs` (two at once). Nothing here puts anything into words.
"""
