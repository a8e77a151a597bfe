"""The drawing of a layout: from its rail network to the line of every rail, with no page and no state.

In: a layout and its network. Out: a `Diagram`: where every rail, blade, gap and dropper lies, in drawing units.
"""
