"""The circuits between a board's pins and the track, as code: netlists, rules, SPICE decks, drawings, parts.

In: one module a circuit, which lists its parts and nets. Out (`python -m circuits` from the folder above): a
drawing and a SPICE deck for each, and the list of parts. Nothing here is imported by frogfeed itself.
"""
