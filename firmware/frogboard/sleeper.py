"""What is looked at in a tick only while something may change for it. No hardware."""


class Sleeper:
    """All that drives and outputs know of the feeds that rely on them: whoever changes something stirs these."""

    def __init__(self) -> None:
        self.active = True
        """False: it sleeps, since nothing would change."""
        self.due = True
        """It is to be dealt with anew, whatever else it sees."""

    def stir(self) -> None:
        """Something has changed: no sleep before it has been dealt with."""
        self.active = True
        self.due = True
