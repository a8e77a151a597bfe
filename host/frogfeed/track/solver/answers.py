"""The solver's answers as data: what is short, dead, clashing, hanging on a contact, for which settings."""

from __future__ import annotations

from dataclasses import dataclass

from frogfeed.track.network.conditions import Term
from frogfeed.track.network.model import Bridge, Road, SwitchedFeed
from frogfeed.track.solver.contract import Via


@dataclass(frozen=True, slots=True)
class Short:
    """Two wires that must stay apart are joined under `when` (the empty term: always), along `path`.

    `smallest` is False where time ran out before the term was proven to name no drive too many.
    """

    wires: tuple[str, str]
    when: Term
    path: tuple[str, ...]
    smallest: bool = True


@dataclass(frozen=True, slots=True)
class NotProven:
    """A question about some rails that could not be decided in the time allowed."""

    question: str
    rails: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Dead:
    """A group without a feed. `road` is the road that needs it and `when` settings that show it.

    `never` is fed in no setting; `held` is dead only while the road over it is set against.
    """

    rails: tuple[str, ...]
    road: Road | None
    when: Term
    never: bool
    held: bool


@dataclass(frozen=True, slots=True)
class Clash:
    """A wheel at `bridge` joins two wires under `when`, along `path`."""

    bridge: Bridge
    wires: tuple[str, str]
    when: Term
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NoCircuit:
    """Both rails of a road carry one wire, or wires of districts without a common, so nothing runs there.

    `held`: only while the road is set against.
    """

    road: Road
    held: bool
    wires: tuple[str, str]
    when: Term
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hangs:
    """Rails fed only through blade contacts or untrusted joiners for the road that needs them."""

    rails: tuple[str, ...]
    via: Via
    when: Term
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JoinedOutputs:
    """Two different switched outputs that feed what conducts for good, along `path`."""

    a: SwitchedFeed
    b: SwitchedFeed
    path: tuple[str, ...]
