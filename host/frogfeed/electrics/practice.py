"""Figures for parts that no file states: joiners, contacts, lengths. All common practice or from memory,
and so never the only ground of an error; a modeller who knows better states lengths and sizes in the layout
file.
"""

from __future__ import annotations

from frogfeed.parts.values import Confidence, Figure

JOINER_OHM = Figure(0.01, Confidence.MEMORY, "a tight metal rail joiner, some years old")
UNTRUSTED_OHM = Figure(0.5, Confidence.MEMORY, "a loose or painted joiner that still conducts")
BLADE_OHM = Figure(0.15, Confidence.MEMORY, "a clean blade pressed against its stock rail")
LINK_OHM = Figure(0.005, Confidence.MEMORY, "a factory link or spot weld under the sleepers")
CASTING_OHM = Figure(0.001, Confidence.MEMORY, "one casting")
COMMON_OHM = Figure(0.01, Confidence.MEMORY, "a short thick wire between two supplies")

BOND_MM = Figure(40.0, Confidence.MEMORY, "a bond wire under one turnout")
DROPPER_MM = Figure(300.0, Confidence.MEMORY, "a dropper from rail to bus, where no length is stated")
FEED_MM = Figure(1500.0, Confidence.MEMORY, "a frog's wire from its board, where no places are stated")
PLACE_MM = Figure(600.0, Confidence.MEMORY, "a stretch of track, where no length is stated")
CONTACT_OHM = Figure(0.1, Confidence.MEMORY, "a relay contact, where no board is chosen yet")

PIECE_GAUGES = Figure(6.0, Confidence.MEMORY, "a turnout is about (frog number + 6) gauges long")
FROG_NUMBER = Figure(6.0, Confidence.MEMORY, "a middling turnout")

HOT_C = 40.0
"""Wires under a baseboard on a warm day, for voltages and trips."""
COLD_C = 20.0
"""Wires before a fault, for the most it can let through."""

LEAK_OHM = 1e9
"""From every node to the reference, so that rails without a feed have a voltage (none) at all."""
FLOAT_OHM = 1e6
"""Between the references of districts that are not joined, so that each has a place to be measured from."""
LEAST_OHM = 1e-4
"""Nothing is a perfect conductor: a supply stated with no resistance has this."""

DCC_VOLTS = Figure(15.0, Confidence.SEEN, "NMRA S-9.1: nominal peak, HO, S and O")
DCC_VOLTS_N = Figure(12.0, Confidence.SEEN, "NMRA S-9.1: nominal peak, N and smaller")
DC_VOLTS = Figure(12.0, Confidence.SEEN, "NEM 611: accessory supply, DC, 6.5 to 45 mm; track the same by custom")

FALL_SHARE = 0.1
"""A tenth of the volts lost in bus, droppers and rail is where trains are seen to slow (common practice)."""
TRIP_MARGIN = 1.25
"""A short must draw this much more than the trip current, so that a warm trip on a weak day still acts
(ours).
"""
