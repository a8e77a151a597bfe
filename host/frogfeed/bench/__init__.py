"""A virtual board on a virtual railway: the real firmware on a real MicroPython, behind a serial port.

In: a netlist, the boards' settings documents and a few physical figures. Out: a serial port (or, in virtual time, an
object that reads and writes like one) and records of all that happened: every spark, every dead wheel, every broken
rule. The rail network is evaluated here by itself; the solver is never asked.
"""
