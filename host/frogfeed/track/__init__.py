"""What rails there are, and what is proven of them for all settings at once.

In: a layout that was read whole, and the kinds of piece in kinds/*.toml. Out: the rail network with its decision
tables (`assemble`), the solver's answers (`answers`) and their findings (`explain`), meter checks, traces, and
proposals for what a bare plan lacks. No polarity is written anywhere: all of it follows from roads and droppers.
"""
