"""Talking to boards: ports, the serial link, putting firmware and settings on them, images.

In: a settings document and the layout file's text (from plan), firmware files, a port. Out: a board that
runs them, its answers, events and measurements, and files that can be dropped on a new board. The methods
and the framing are those of the firmware (`frogboard`); nothing here defines them a second time.
"""
