"""Wires, joints, contacts and supplies as a circuit: voltages under load, fault currents, heating, budgets.

In: a layout, its rail network, settings, and (for the switched feeds) a plan. Out: a linear circuit, its
solution, a SPICE deck of the same circuit, and findings with the numbers in them.
"""
