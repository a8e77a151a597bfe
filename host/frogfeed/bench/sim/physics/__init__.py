"""The bench's physics: servos, contacts, rails and trains, event by event in whole microseconds.

In: a scenario (see `frogfeed.bench.scenario`), pulses and levels from the simulated pins.
Out: contact edges, records of everything worth telling (sparks, dead wheels, moves, broken rules).

Runs unchanged under MicroPython, inside the process of the virtual board, and under CPython.
"""
