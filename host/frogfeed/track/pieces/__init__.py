"""Pieces of track: what each kind is made of, and one piece of it as its owner left it.

In: kinds/*.toml and the user's own kinds, a piece's facts from the layout. Out: its rails, bonds, contacts and roads
(`expand`), and where wheels bridge what they should not (`clearance`). No polarity is known here.
"""
