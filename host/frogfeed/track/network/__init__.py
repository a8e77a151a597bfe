"""The rail network as data: rails, what joins them, roads, contacts, feeds, and the conditions all of it holds under.

In: nothing of the layout; `pieces`, `feeds` and `assembly` make its parts. Out: the types that every other folder
reads, the same as plain JSON (`netlist`), and what the track beyond an end is set to (`approaches`).
"""
