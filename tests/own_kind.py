"""A kind of piece of a modeller's own, for tests: a blade in one rail that throws a runaway off the track."""

CATCH_POINT = """
name = "catch-point"
title = "catch point"

[drives]
drive = ["on", "off"]

[[road]]
from = "yard"
to = "line"
when = { drive = "on" }
left = "SL >BL"
right = "SR"

[[road]]
from = "yard"
to = "ditch"
when = { drive = "off" }
left = "SL"
right = "SR"

[make.live-frog]
"""
