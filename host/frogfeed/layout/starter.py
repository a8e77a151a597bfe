"""The file `frogfeed new` writes: a small railway that is whole, explained line by line, to change into one's own."""

from __future__ import annotations

from pathlib import Path

from frogfeed.layout.atomic import create_file
from frogfeed.layout.reading import read_layout_text

STARTER = """\
# A layout file for frogfeed. Everything after # is for you; change it all.
# When you have changed something, run `frogfeed check` on this file.

[layout]
name = "Ferry Sidings"
gauge = "OO"             # the track and wheel standard your track is made to
control = "dc"           # "dc": a controller that reverses; "dcc": a digital booster
colours = { A = "red", B = "black", switched = "violet" }   # your own wire colours

# One supply with its two bus wires, A and B. Current in amperes, time in milliseconds.
[district.main]
volts = 12.0
trip_a = 1.5             # the current at which it trips, as printed on it
trip_ms = 100
limit_a = 3.0            # the most it gives into a short, however short the wires

# Rails are left and right looking into a turnout from its toe (the end with the blades).
# T1 has a plastic frog and is as it came from its box: each blade feeds the rail beyond it.
[turnout.T1]
make = "insulated-frog"
frog_number = 5          # how slender the frog is: 5 mm along it for 1 mm of spread
plastic_mm = 18          # how far the plastic reaches beyond the point

# T2 has a metal frog, made safe: links cut, blades wired to their stock rails, and the
# frog fed through a switch that follows the blades.
[turnout.T2]
make = "live-frog"
state = "isolated-frog"

# Named stretches of plain track. "buffer": it stops there; "open": it goes on beyond
# this file; without a kind it is a section with two ends.
[place.stop]
kind = "buffer"
[place.harbour]
kind = "open"
[place.platform]
[place.loop]

# What is joined to what, in the order in which a train meets it. Two ends of one turnout
# in a row run through it. Left and right are as seen travelling along the list.
#   "|"      insulated joiners in both rails ("|left" or "|right": in one)
#   { feed = "main", left = "A" }   droppers: the left rail to bus wire A, the right to B
[lines]
main = [
  "stop", { feed = "main", left = "A" },
  "T1.toe", "T1.left", "platform", { feed = "main", left = "A" },
  "|", "T2.right", "T2.toe", { feed = "main", left = "A" }, "harbour",
]
loop = ["T1.right", "loop", { feed = "main", left = "A" }, "|", "T2.left"]

# Servos need no table to begin with: T1 and T2 each have one that bears their name.
# When you have trimmed one, its pulses stand here, in microseconds:
# [drive.T1]
# pulse_us = { left = 1350, right = 1650 }

# The board under the baseboard. Its profile says what it can drive: see the reference of
# the layout file for their names.
# [board.B1]
# profile = "direct-relay"
# serial = "..."          # its USB serial number, where you have more than one
"""


def write_starter(path: Path) -> None:
    """Write the starting file. Raises FileExistsError where the name is taken (nothing is overwritten), OSError."""
    read_layout_text(STARTER, str(path))
    create_file(path, STARTER.encode("utf-8"))
