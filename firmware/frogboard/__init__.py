"""frogboard: the firmware package; logic modules import no hardware and run under CPython too."""

VERSION = "0.1.0"
