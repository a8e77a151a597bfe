"""From a layout to its rail network.

In: a layout that was read whole, and its kinds of piece. Out: a `RailNetwork`: lines walked to joints (`joints`), then
pieces, feeds and joints put together in order (`assemble`).
"""
