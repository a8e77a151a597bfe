"""Images: one file for a new board, with runtime, firmware and settings in it.

In: the MicroPython runtime's UF2 file that the modeller has, firmware files, settings. Out: UF2 or Intel HEX.
Chip families and address ranges are checked before a byte is written.
"""
