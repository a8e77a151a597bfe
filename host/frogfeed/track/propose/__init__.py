"""From a bare plan to a wired one.

In: a layout with pieces and lines, wired in part or not at all. Out: what to add, each thing with its reason
(`proposal`), on districts parted by the fewest joints (`cuts`).
"""
