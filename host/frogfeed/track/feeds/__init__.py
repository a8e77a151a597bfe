"""What each rail must be fed with: sides of track, decision tables, switched sections and the wires within them.

In: joints, roads, and what the droppers say. Out: the bus wire of each end (`sides`), the ends that one switched feed
serves (`zones`), and for each switched rail the wire at every setting (`switched`, by way of `tables`).
"""
