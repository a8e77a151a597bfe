"""The single channel of each servo, input and lamp of a board: kinds that may share pins, each pin for one of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from frogfeed.parts.boards import BoardProfile
from frogfeed.plan import channels
from frogfeed.plan.fixed import pins_of


def choose(
    profile: BoardProfile,
    servos: Sequence[str],
    inputs: Sequence[str],
    lamps: Sequence[str],
    held: Mapping[str, str],
    kept: Mapping[str, str],
) -> dict[str, str] | None:
    """A channel for each thing, or None where the held ones leave no way.

    Held things first, then where things are wired now (`kept`), then the lowest free channel of each; where that
    leaves one without, all together are placed anew.
    """
    allowed: dict[str, list[str]] = {t: [c.name for c in profile.servo] for t in servos}
    allowed |= {t: [c.name for c in profile.input] for t in inputs}
    allowed |= {t: [c.name for c in profile.lamp] for t in lamps}
    pins = pins_of(profile)
    chosen: dict[str, str] = {}
    taken: set[str] = set()

    def take(thing: str, channel: str) -> None:
        chosen[thing] = channel
        taken.update(pins[channel])

    for thing in allowed:
        if thing in held:
            take(thing, held[thing])
    for thing, names in allowed.items():
        now = kept.get(thing)
        if thing not in chosen and now in names and taken.isdisjoint(pins[now]):
            take(thing, now)
    for thing, names in allowed.items():
        if thing in chosen:
            continue
        free = next((n for n in names if taken.isdisjoint(pins[n])), None)
        if free is None:
            return _anew(profile, allowed, held, kept)
        take(thing, free)
    return chosen


def _anew(
    profile: BoardProfile, allowed: Mapping[str, Sequence[str]], held: Mapping[str, str], kept: Mapping[str, str]
) -> dict[str, str] | None:
    pins = pins_of(profile)
    own = {f.name for f in profile.feed}
    return channels.choose(
        list(allowed),
        allowed,
        {name: resources for name, resources in pins.items() if name not in own},
        {t: held[t] for t in allowed if t in held},
        {t: kept[t] for t in allowed if t in kept},
        {},
        {},
    )
