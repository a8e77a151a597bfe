"""What rails there are, and what is proven of them for all settings at once.

In: a layout that was read whole, and the kinds of piece in pieces/kinds/*.toml. Out: the rail network with its
decision tables, the solver's answers and their findings, meter checks, traces, and proposals for what a bare plan
lacks. No polarity is written anywhere: all of it follows from roads and droppers.

Data flows one way: network → pieces and feeds → assembly → routes and solver → explain → propose; `meter` reads the
network alone.
"""
