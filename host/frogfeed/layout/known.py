"""The names a layout file may use without declaring them: gauges, wires, colours, rails, board profiles, kinds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from frogfeed.layout.ends import KindShape, built_in_shapes
from frogfeed.parts import colours, gauges, profiles, rails, wires


@dataclass(frozen=True)
class Known:
    """Names by what they name; None means that no check is made. Sequences keep the order in which to list them."""

    gauges: tuple[str, ...] | None = None
    wires: tuple[str, ...] | None = None
    colours: tuple[str, ...] | None = None
    rail_codes: tuple[int, ...] | None = None
    profiles: tuple[str, ...] | None = None
    kinds: Mapping[str, KindShape] = field(default_factory=built_in_shapes)


def known_parts() -> Known:
    """The names of the parts and kinds that frogfeed ships."""
    return Known(
        gauges=gauges.NAMES,
        wires=wires.NAMES,
        colours=colours.NAMES,
        rail_codes=rails.CODES,
        profiles=profiles.names(),
    )
