"""frogfeed: plan, prove, wire and switch the frogs of a two-rail model railway."""

__version__ = "0.1.0"
