"""What things are: track and wheel standards, rails, wires, colours, and board profiles.

In: tables in this package and the profiles of hardware/boards. Out: frozen values, each with the text it was
read in and how sure it is. Nothing here knows of a layout.
"""
