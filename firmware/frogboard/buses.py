"""The chips on the I2C buses, behind the same flat arrays as the pins: expanders, servo chips, sensors."""

if False:
    from frogboard.control import Control


class Chips:
    """All chips of one board."""

    def __init__(self, control: "Control") -> None:
        if control.doc["chips"]:
            raise ValueError("chips on a bus are not driven by this firmware yet")

    def read(self) -> None:
        """Inputs of the expanders, and the next sensor in turn."""

    def set(self, line: int, on: int) -> None:
        """Put an output line of an expander on or off, to be written later in this tick."""

    def write_off(self) -> None:
        """Write the expanders on which something goes off."""

    def write_on(self) -> None:
        """Write the expanders on which something goes on."""

    def pulse(self, d: int, us: int) -> bool:
        """Send drive d's pulse. Whether it was sent."""
        return False

    def off(self) -> None:
        """Hold all chips in reset or disabled."""
