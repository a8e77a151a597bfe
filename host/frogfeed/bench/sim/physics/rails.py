"""The rail network by itself: which rails conduct to which wires, at every instant.

What always conducts has been contracted by `frogfeed.bench.circuit`; here are only classes of rails (the first
`nw` of them hold the bus wires) and the edges that come and go: blade contacts and switched legs. Edges that
share no class other than a wire's form islands, and each island's answer is kept by the set of its closed edges.

A spark is two wires that must not meet joined for a microsecond or more. Changes at one instant are judged
together, after all of them.
"""

if False:
    from collections.abc import Callable, Sequence

    from frogfeed.bench.shapes import RailsSpec
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.records import Records

    Pair = tuple[int, int]
    Join = tuple[int, int, int, int, str]
    Solved = tuple[list[int], tuple[Pair, ...]]


class Rails:
    """Labels for every class, the sparks going on, and who wants to be told when labels change."""

    def __init__(self, spec: "RailsSpec", clock: "Clock", records: "Records") -> None:
        self.clock = clock
        self.settle_slot = clock.slot(self._settle)
        if self.settle_slot != 0:
            raise ValueError("the rails must reserve the clock's first slot, to judge an instant last")
        self.records = records
        self.wires = spec["wires"]
        self.nw = spec["nw"]
        self.names = spec["names"]
        self.conflict = spec["conflict"]
        self.power = spec["power"]
        self.edge_a = [e[0] for e in spec["edges"]]
        self.edge_b = [e[1] for e in spec["edges"]]
        self.edge_name = [e[2] for e in spec["edges"]]
        self.closed = [0] * len(self.edge_a)
        self.label = list(range(len(self.names)))
        self.island_edges = spec["islands"]
        self.island_of = [0] * len(self.edge_a)
        self.bit_of = [0] * len(self.edge_a)
        self.island_nodes: "list[list[int]]" = []
        self.island_mask: "list[int]" = []
        self.island_joins: "list[tuple[Pair, ...]]" = []
        self.island_cache: "list[dict[int, Solved]]" = []
        self.dirty_islands: "list[int]" = []
        for island in range(len(self.island_edges)):
            nodes: "list[int]" = []
            bit = 1
            for edge in self.island_edges[island]:
                self.island_of[edge] = island
                self.bit_of[edge] = bit
                bit <<= 1
                for node in (self.edge_a[edge], self.edge_b[edge]):
                    if node not in nodes:
                        nodes.append(node)
            self.island_nodes.append(nodes)
            self.island_mask.append(0)
            self.island_joins.append(())
            self.island_cache.append({})
        # drive ends: at[d] has bit s set while the blades touch at setting s
        self.drive_names = [d["name"] for d in spec["drives"]]
        self.drive_settings = [d["settings"] for d in spec["drives"]]
        self.settle_us = [d["settle_us"] for d in spec["drives"]]
        self.at = [0] * len(self.drive_names)
        self.since = [0] * len(self.drive_names)
        self.moving = [0] * len(self.drive_names)
        self.drive_edges: "list[list[tuple[int, list[list[Pair]]]]]" = [[] for _ in self.drive_names]
        for edge, when in spec["contacts"]:
            alternatives = [[(d, 1 << s) for d, s in term] for term in when]
            for drive in {d for term in alternatives for d, _ in term}:
                self.drive_edges[drive].append((edge, alternatives))
            if not all(alternatives):
                self.closed[edge] = 1
                self.island_mask[self.island_of[edge]] |= self.bit_of[edge]
        self.outputs = spec["outputs"]  # output -> {"A": [edges], "B": [edges]}
        # set by Trains: returns the label groups that vehicles join now
        self.joins: "Callable[[], list[Join] | None] | None" = None
        self.listener: "Callable[[], None] | None" = None  # called after labels or drive ends have changed
        self.sparks: "dict[Pair, int]" = {}
        self.spark_edges: "dict[Pair, list[int]]" = {}
        self.powered = [1] * self.nw
        self.on_sparks: "Callable[[], None] | None" = None  # called after sparks have changed
        self.changed = False
        self.version = 0  # goes up with every judgement
        for island in range(len(self.island_edges)):
            if len(self.island_edges[island]) <= 5:
                for mask in range(1 << len(self.island_edges[island])):
                    self.island_cache[island][mask] = self._solve(island, mask)
            self._relabel(island)
        for a, b in spec["static_sparks"]:
            records.put("spark", clock.now, wires=[a, b], cause=["always joined"])
        self.touch()

    def touch(self) -> None:
        """Ask for a judgement at the end of this instant."""
        clock = self.clock
        if clock.due[self.settle_slot] != clock.now:
            clock.at(clock.now, self.settle_slot)

    def edge(self, edge: int, closed: int) -> None:
        """A leg or contact opened or closed now."""
        if self.closed[edge] == closed:
            return
        self.closed[edge] = closed
        island = self.island_of[edge]
        self.island_mask[island] ^= self.bit_of[edge]
        if island not in self.dirty_islands:
            self.dirty_islands.append(island)
        self.touch()

    def output(self, name: str, side: str, closed: int) -> None:
        """The leg of a switched output to bus wire `side` opened or closed now."""
        sides = self.outputs.get(name)
        if sides is not None:
            for edge in sides[side]:
                self.edge(edge, closed)

    def end(self, drive: int, setting: int, closed: int) -> None:
        """A drive's blades came to touch at a setting's end, or let go."""
        bit = 1 << setting
        self.at[drive] = self.at[drive] | bit if closed else self.at[drive] & ~bit
        self.since[drive] = self.clock.now
        at = self.at
        for edge, alternatives in self.drive_edges[drive]:
            value = 0
            for term in alternatives:
                for d, b in term:
                    if not at[d] & b:
                        break
                else:
                    value = 1
                    break
            self.edge(edge, value)
        self.changed = True
        self.touch()

    def motion(self, drive: int, moving: int) -> None:
        """A drive began to move or came to rest."""
        self.moving[drive] = moving
        self.since[drive] = self.clock.now
        self.changed = True
        self.touch()

    def settled(self, drive: int) -> int:
        """The setting index a drive has rested at for its settling time, or -1."""
        if self.moving[drive] or self.clock.now - self.since[drive] < self.settle_us[drive]:
            return -1
        at = self.at[drive]
        for s in range(len(self.drive_settings[drive])):
            if at == 1 << s:
                return s
        return -1

    def _relabel(self, island: int) -> None:
        mask = self.island_mask[island]
        found = self.island_cache[island].get(mask)
        if found is None:
            found = self._solve(island, mask)
            if len(self.island_cache[island]) < 4096:
                self.island_cache[island][mask] = found
        labels, joins = found
        nodes = self.island_nodes[island]
        label = self.label
        nw = self.nw
        for i in range(len(nodes)):
            if nodes[i] >= nw:
                label[nodes[i]] = labels[i]
        self.island_joins[island] = joins

    def _solve(self, island: int, mask: int) -> "Solved":
        """Labels of an island's nodes (a wire's class, else the least class of a floating group), wires joined."""
        up = {n: n for n in self.island_nodes[island]}
        joins: "list[Pair]" = []
        nw = self.nw
        for edge in self.island_edges[island]:
            if not mask & self.bit_of[edge]:
                continue
            a = self.edge_a[edge]
            b = self.edge_b[edge]
            while up[a] != a:
                a = up[a]
            while up[b] != b:
                b = up[b]
            if a == b:
                continue
            if a > b:
                a, b = b, a
            if b < nw:
                joins.append((a, b))
            up[b] = a
        labels: "list[int]" = []
        for n in self.island_nodes[island]:
            while up[n] != n:
                n = up[n]
            labels.append(n)
        return labels, tuple(joins)

    def _settle(self, _: int) -> None:
        self.version += 1
        changed = self.changed
        if self.dirty_islands:
            changed = True
            for island in self.dirty_islands:
                self._relabel(island)
            self.dirty_islands.clear()
        self.changed = False
        if changed and self.listener is not None:
            self.listener()
        joins = self.joins() if self.joins is not None else None
        any_join = bool(joins)
        if not any_join:
            for j in self.island_joins:
                if j:
                    any_join = True
                    break
        if any_join or self.sparks:
            self._judge(joins or ())

    def _judge(self, joins: "Sequence[Join]") -> None:
        up: "dict[int, int]" = {}
        for pairs in self.island_joins:
            for a, b in pairs:
                self._unite(up, a, b)
        for join in joins:
            self._unite(up, join[0], join[1])
        groups: "dict[int, list[int]]" = {}
        for label in up:
            if label < self.nw:
                root = label
                while up[root] != root:
                    root = up[root]
                groups.setdefault(root, []).append(label)
        now = self.clock.now
        seen: "dict[Pair, int]" = {}
        powered = self.powered
        for members in groups.values():
            members.sort()
            for i in range(len(members)):
                for j in range(i + 1, len(members)):
                    a, b = members[i], members[j]
                    if self.conflict[a][b] and powered[a] and powered[b]:
                        seen[(a, b)] = 1
        for pair in list(self.sparks):
            if pair not in seen:
                began = self.sparks.pop(pair)
                self.spark_edges.pop(pair)
                self.records.put("spark-end", now, wires=self.pair_names(pair), us=now - began)
        for pair in seen:
            edges, words = self.path(pair[0], pair[1], joins)
            self.spark_edges[pair] = edges
            if pair not in self.sparks:
                self.sparks[pair] = now
                self.records.put("spark", now, wires=self.pair_names(pair), cause=words)
        if self.on_sparks is not None:
            self.on_sparks()

    @staticmethod
    def _unite(up: "dict[int, int]", a: int, b: int) -> None:
        up.setdefault(a, a)
        up.setdefault(b, b)
        while up[a] != a:
            a = up[a]
        while up[b] != b:
            b = up[b]
        if a != b:
            if a > b:
                a, b = b, a
            up[b] = a

    def pair_names(self, pair: "Pair") -> "list[str]":
        """The names of the wires of two classes."""
        return [self.names[pair[0]], self.names[pair[1]]]

    def path(self, start: int, goal: int, joins: "Sequence[Join]") -> "tuple[list[int], list[str]]":
        """How two wires are joined: (edges that carry the current, one chain of contacts and vehicles as words).

        An edge at one of the wires carries current if the other wire is reached from its far end without that wire.
        """
        around: "dict[int, list[tuple[int, str, int]]]" = {}
        for edge in range(len(self.closed)):
            if self.closed[edge]:
                a, b, name = self.edge_a[edge], self.edge_b[edge], self.edge_name[edge]
                around.setdefault(a, []).append((b, name, edge))
                around.setdefault(b, []).append((a, name, edge))
        for pair in joins:
            for a, b in ((pair[2], pair[3]), (pair[3], pair[2])):
                around.setdefault(a, []).append((b, pair[4], -1))
        came = self._flood(around, start, goal)
        if goal not in came:
            return [], ["by way of a third wire"]
        words = []
        step = came[goal]
        while step is not None:
            node, name = step
            words.append(name)
            step = came[node]
        words.reverse()
        edges = []
        for wire, other in ((start, goal), (goal, start)):
            beyond = self._flood(around, other, wire)
            for node, _, edge in around.get(wire, ()):
                if edge >= 0 and node in beyond and node != wire:
                    edges.append(edge)
        return edges, words

    @staticmethod
    def _flood(
        around: "dict[int, list[tuple[int, str, int]]]", start: int, stop: int
    ) -> "dict[int, tuple[int, str] | None]":
        """All that is reached from `start` without going on through `stop`: node -> (node before, by what)."""
        came: "dict[int, tuple[int, str] | None]" = {start: None}
        queue = [start]
        while queue:
            node = queue.pop(0)
            if node == stop:
                continue
            for other, name, _ in around.get(node, ()):
                if other not in came:
                    came[other] = (node, name)
                    queue.append(other)
        return came

    def rejudge(self) -> None:
        """Judge this instant again though no contact has moved: a supply went off or on, or metal fell on the track."""
        self.changed = True
        self.touch()

    def fed(self, cls: int) -> bool:
        """Whether a class is joined to a bus wire now."""
        return self.label[cls] < self.nw

    def wire_of(self, cls: int) -> "str | None":
        """The name of the wire that feeds a class, or None."""
        label = self.label[cls]
        return self.names[label] if label < self.nw else None
