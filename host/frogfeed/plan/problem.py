"""The assignment problem of a layout: boards, clusters of drives, feeds with the outputs they may use."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from frogfeed.parts.boards import BoardProfile, FeedChannel
from frogfeed.plan.assignment import MOVED_COST, BoardOf, ClassOf, Cluster, Item, Problem, joined
from frogfeed.plan.fixed import Fixed
from frogfeed.plan.model import ButtonNeed, DriveNeed, FeedNeed, LampNeed, Place
from frogfeed.plan.suit import Moving, Suited, Unsuited, suits

NO_OFF_COST_MM = 5000.0
"""Surcharge for an output without an off of its own: a pair is taken while there are any."""

TIE_MM = 0.01
"""What each board or class further down the list costs more, so that equal plans fill boards in order."""

BUS_CORES = 2
"""Cores from a district's supply to a board that switches its feeds."""

ClassKey = tuple[str, str | None]
"""(switch type, enable); the enable is ANY where the groups behind a board's enables are alike, None for
none.
"""

ANY = "any"


PanelNeed = ButtonNeed | LampNeed
"""A thing of the panel that wants a channel."""


@dataclass(frozen=True, slots=True)
class BoardSite:
    """A board that can be used: its profile, and where it is."""

    name: str
    profile: BoardProfile
    serial: str | None
    place: Place | None
    implied: bool

    def classes(self, split: bool) -> dict[ClassKey, tuple[FeedChannel, ...]]:
        """Feed channels by class, in the profile's order; `split` keeps the groups behind each enable
        apart.
        """
        found: dict[ClassKey, list[FeedChannel]] = {}
        for c in self.profile.feed:
            found.setdefault(self.key_of(c, split), []).append(c)
        return {k: tuple(v) for k, v in found.items()}

    def key_of(self, channel: FeedChannel, split: bool) -> ClassKey:
        """The class of a feed channel."""
        if channel.enable is None:
            return channel.type, None
        return channel.type, channel.enable if split or not self._groups_alike(channel.type) else ANY

    def _groups_alike(self, switch: str) -> bool:
        sizes = Counter(c.enable for c in self.profile.feed if c.type == switch and c.enable is not None)
        return len(set(sizes.values())) == 1


@dataclass(frozen=True)
class Built:
    """The problem with what its numbers stand for; `unsuited` says of a feed why each class refuses it."""

    problem: Problem
    sites: tuple[BoardSite, ...]
    drives: tuple[DriveNeed, ...]
    feeds: tuple[FeedNeed, ...]
    drive_cluster: tuple[int, ...]
    class_keys: tuple[tuple[ClassKey, ...], ...]
    split: tuple[bool, ...]
    suited: Mapping[tuple[str, int, ClassKey], Suited]
    unsuited: Mapping[str, tuple[Unsuited, ...]]
    panel: tuple[PanelNeed, ...] = ()
    panel_cluster: tuple[int, ...] = ()


def distance_mm(a: Place | None, b: Place | None) -> float:
    """Wire between two places: along the frame of the baseboard, so sideways plus lengthways; 0 if
    unknown.
    """
    return 0.0 if a is None or b is None else abs(a[0] - b[0]) + abs(a[1] - b[1])


def build(
    sites: Sequence[BoardSite],
    drives: Sequence[DriveNeed],
    feeds: Sequence[FeedNeed],
    moving: Mapping[str, Moving],
    supplies: Mapping[str, Place | None],
    fixed: Fixed,
    previous: Fixed,
    panel: Sequence[PanelNeed] = (),
) -> Built:
    """State the assignment as numbers. `supplies` are the places of the districts' supplies.

    What shares a board is one cluster: a feed with its drives, a thing of the panel with its drives and its feed.
    """
    index = {d.name: i for i, d in enumerate(drives)}
    index |= {f"feed {f.output}": len(drives) + i for i, f in enumerate(feeds)}
    first = len(drives) + len(feeds)
    groups = [[len(drives) + i, *(index[name] for name in f.drives if name in index)] for i, f in enumerate(feeds)]
    for i, thing in enumerate(panel):
        wanted = [name for name, _ in thing.moves]
        if isinstance(thing, LampNeed) and thing.feed is not None:
            wanted.append(f"feed {thing.feed}")
        groups.append([first + i, *(index[name] for name in wanted if name in index)])
    of_all = joined(groups, first + len(panel))
    of_drive, of_feed, of_panel = of_all[: len(drives)], of_all[len(drives) : first], of_all[first:]
    boards = {s.name: i for i, s in enumerate(sites)}
    held_feeds = {fixed[f.output] for f in feeds if f.output in fixed}
    split = tuple(any(board == s.name for board, _ in held_feeds) for s in sites)
    class_maps = [s.classes(apart) for s, apart in zip(sites, split, strict=True)]
    keys = tuple(tuple(m) for m in class_maps)
    suited: dict[tuple[str, int, ClassKey], Suited] = {}
    unsuited: dict[str, tuple[Unsuited, ...]] = {}
    judged: dict[tuple[str, str, ClassKey], Suited | Unsuited] = {}
    items: list[Item] = []
    for f, cluster in zip(feeds, of_feed, strict=True):
        options: dict[tuple[int, int], float] = {}
        reasons: dict[str, Unsuited] = {}
        for b, site in enumerate(sites):
            for k, key in enumerate(keys[b]):
                known = (f.output, site.profile.name, key)
                if known not in judged:
                    judged[known] = suits(f, site.profile, class_maps[b][key][0], moving)
                outcome = judged[known]
                if isinstance(outcome, Unsuited):
                    reasons.setdefault(f"{key[0]} {outcome.what}", outcome)
                    continue
                suited[f.output, b, key] = outcome
                cost = distance_mm(f.place, site.place) + TIE_MM * k
                if site.profile.switch_types[key[0]].kind != "pair" and key[1] is None:
                    cost += NO_OFF_COST_MM
                options[b, k] = cost
        options = _held(options, f.output, fixed, boards, sites, keys, split)
        options = _stay(options, f.output, previous, boards, sites, keys, split)
        items.append(Item(f.output, cluster, f.district, options))
        unsuited[f.output] = tuple(reasons.values())
    count = max(of_all, default=-1) + 1
    clusters = _clusters(sites, drives, of_drive, panel, of_panel, count, fixed, previous, boards)
    districts = sorted({f.district for f in feeds})
    problem = Problem(
        boards=tuple(_board(s, m, apart) for s, m, apart in zip(sites, class_maps, split, strict=True)),
        clusters=clusters,
        items=tuple(items),
        district_cost=tuple({d: BUS_CORES * distance_mm(supplies.get(d), s.place) for d in districts} for s in sites),
    )
    return Built(
        problem,
        tuple(sites),
        tuple(drives),
        tuple(feeds),
        tuple(of_drive),
        keys,
        split,
        suited,
        unsuited,
        tuple(panel),
        tuple(of_panel),
    )


def _clusters(
    sites: Sequence[BoardSite],
    drives: Sequence[DriveNeed],
    of_drive: Sequence[int],
    panel: Sequence[PanelNeed],
    of_panel: Sequence[int],
    count: int,
    fixed: Fixed,
    previous: Fixed,
    boards: Mapping[str, int],
) -> tuple[Cluster, ...]:
    members: list[list[DriveNeed]] = [[] for _ in range(count)]
    for d, c in zip(drives, of_drive, strict=True):
        members[c].append(d)
    shown: list[list[PanelNeed]] = [[] for _ in range(count)]
    for thing, c in zip(panel, of_panel, strict=True):
        shown[c].append(thing)
    found: list[Cluster] = []
    for group, lit in zip(members, shown, strict=True):
        things = [t for d in group for t in ((d.name,) if not d.hand else d.contacts)] + [p.name for p in lit]
        held = {boards[fixed[t][0]] for t in things if t in fixed}
        held |= {boards[p.board] for p in lit if p.board is not None}
        costs: list[float | None] = []
        for b, site in enumerate(sites):
            wire = sum(distance_mm(d.place, site.place) * max(1, len(d.contacts)) for d in group)
            wire += sum(distance_mm(p.place, site.place) for p in lit)
            moved = sum(1 for t in things if t in previous and previous[t][0] != site.name)
            tie = TIE_MM * b * max(1, len(group))
            costs.append(None if held - {b} else wire + MOVED_COST * moved + tie)
        servos = sum(1 for d in group if not d.hand)
        lamps = sum(1 for p in lit if isinstance(p, LampNeed))
        inputs = sum(len(d.contacts) for d in group) + len(lit) - lamps
        name = group[0].name if group else lit[0].name if lit else ""
        found.append(Cluster(name, servos, inputs, tuple(costs), lamps))
    return tuple(found)


def _board(site: BoardSite, classes: Mapping[ClassKey, tuple[FeedChannel, ...]], split: bool) -> BoardOf:
    profile = site.profile
    pool_of, pools = _pools(site, split)
    made: list[ClassOf] = []
    for (switch, enable), channels in classes.items():
        cells: dict[str, int] = {}
        pool = pool_of[channels[0].resources[0]]
        cells[pool] = len(channels[0].resources)
        domain, groups = None, 1
        if not profile.switch_types[switch].isolated:
            domain = "board ground"
        elif enable is not None:
            domain = f"enable {enable}"
            groups = len({c.enable for c in channels})
        made.append(ClassOf(f"{switch} {enable or ''}".strip(), len(channels), cells, domain, groups))
    return BoardOf(
        site.name,
        len(profile.servo),
        len(profile.input),
        tuple(made),
        pools,
        len(profile.lamp),
        _shared_pins(profile),
    )


def _shared_pins(profile: BoardProfile) -> dict[tuple[str, ...], int]:
    """How many pins kinds of channel have together, for those kinds that share some."""
    pins = {
        "servos": {c.resource for c in profile.servo},
        "inputs": {c.pin.resource for c in profile.input},
        "lamps": {c.pin.resource for c in profile.lamp},
    }
    found: dict[tuple[str, ...], int] = {}
    for size in (2, 3):
        for kinds in combinations(pins, size):
            together = len(set().union(*(pins[k] for k in kinds)))
            if together < sum(len(pins[k]) for k in kinds):
                found[kinds] = together
    return found


def _pools(site: BoardSite, split: bool) -> tuple[dict[str, str], dict[str, int]]:
    """Pins that compete: pools of resources, joined wherever two channels of any class share one.

    Channels of one shape fall into one pool, so a pool counts cells rather than names.
    """
    profile = site.profile
    resources = sorted({r for c in profile.feed for r in c.resources})
    index = {r: i for i, r in enumerate(resources)}
    root = joined([[index[r] for r in c.resources] for c in profile.feed], len(resources))
    shapes: dict[int, set[str]] = {}
    for c in profile.feed:
        switch, enable = site.key_of(c, split)
        shapes.setdefault(root[index[c.resources[0]]], set()).add(f"{switch} {enable or ''}".strip())
    pool_of = {r: " / ".join(sorted(shapes[root[index[r]]])) for r in resources}
    sizes: dict[str, int] = {}
    for r in resources:
        sizes[pool_of[r]] = sizes.get(pool_of[r], 0) + 1
    return pool_of, sizes


def _class_of(site: BoardSite, channel: str, split: bool) -> ClassKey | None:
    return next((site.key_of(c, split) for c in site.profile.feed if c.name == channel), None)


def _held(
    options: dict[tuple[int, int], float],
    output: str,
    fixed: Fixed,
    boards: Mapping[str, int],
    sites: Sequence[BoardSite],
    keys: Sequence[Sequence[ClassKey]],
    split: Sequence[bool],
) -> dict[tuple[int, int], float]:
    """Only the class of the channel that the modeller insists on, where there is one."""
    if output not in fixed:
        return options
    board, channel = fixed[output]
    b = boards[board]
    key = _class_of(sites[b], channel, split[b])
    return {o: cost for o, cost in options.items() if o[0] == b and keys[b][o[1]] == key}


def _stay(
    options: dict[tuple[int, int], float],
    output: str,
    previous: Fixed,
    boards: Mapping[str, int],
    sites: Sequence[BoardSite],
    keys: Sequence[Sequence[ClassKey]],
    split: Sequence[bool],
) -> dict[tuple[int, int], float]:
    """Anything but the class of the channel that serves the feed now costs a move."""
    if output not in previous or previous[output][0] not in boards:
        return options
    board, channel = previous[output]
    b = boards[board]
    key = _class_of(sites[b], channel, split[b])
    return {o: cost + (0.0 if o[0] == b and keys[b][o[1]] == key else MOVED_COST) for o, cost in options.items()}
