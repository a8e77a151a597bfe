"""What the host may ask of a virtual board's world, by name."""

import gc
import sys

MYPY = False
"""True for the type checker alone, which knows the modules here by their package; a board by their bare names."""

if MYPY:
    from collections.abc import Callable
    from typing import Any

    from frogfeed.bench.sim.boardfiles import has_settings
    from frogfeed.bench.sim.kernel import Kernel
    from frogfeed.bench.sim.life import Life
    from frogfeed.bench.sim.physics.trains import Train
    from frogfeed.bench.sim.physics.world import World
else:
    from boardfiles import has_settings


def orders(kernel: "Kernel", world: "World", life: "Life") -> "dict[str, Callable[[dict[str, Any]], object]]":
    """What the host may ask of the world."""
    trains = world.trains

    def fault(message: "dict[str, Any]") -> None:
        world.fault(message["kind"], message["facts"])

    def hand(message: "dict[str, Any]") -> None:
        world.hands.throw(message["drive"], message["setting"], message["travel_us"])

    def press(message: "dict[str, Any]") -> None:
        world.set_input(message["input"], message["closed"])

    def place(message: "dict[str, Any]") -> None:
        trains.place(message["train"])

    def drive(message: "dict[str, Any]") -> None:
        trains.drive(message["train"], message["speed"])

    def remove(message: "dict[str, Any]") -> None:
        trains.remove(message["train"])

    def bare(message: "dict[str, Any]") -> None:
        world.watch.bare = message["bare"]
        world.watch.excuse = None if message["bare"] else has_settings

    def current(message: "dict[str, Any]") -> None:
        world.told_ma = message["ma"]
        world.sensors.look()

    def power(message: "dict[str, Any]") -> None:
        life.end("power")

    def hang(message: "dict[str, Any]") -> None:
        hang_in(message["where"], kernel)

    names: "dict[str, Any]" = {"__name__": "__main__"}

    def code(message: "dict[str, Any]") -> "dict[str, str]":
        return run_code(message["code"], names)

    def query(message: "dict[str, Any]") -> "dict[str, Any]":
        found = query_of(world)
        found["ticks"] = life.fed
        found["skipped_us"] = kernel.skipped_us
        return found

    return {
        "fault": fault,
        "hand": hand,
        "press": press,
        "place": place,
        "drive": drive,
        "remove": remove,
        "bare": bare,
        "query": query,
        "power": power,
        "current": current,
        "hang": hang,
        "code": code,
    }


def hang_in(where: str, kernel: "Kernel") -> None:
    """Put a loop without end in the place of a function or method: "frogboard.feed:Feed.step"."""
    module_name, _, path = where.partition(":")
    thing: "Any" = sys.modules[module_name]
    *owners, last = path.split(".")
    for name in owners:
        thing = getattr(thing, name)

    def hang(*_: object, **__: object) -> None:
        while True:
            kernel.sleep(1000)

    if not hasattr(thing, last):
        raise KeyError(where)
    setattr(thing, last, hang)


def query_of(world: "World") -> "dict[str, Any]":
    """Where everything stands now."""
    rails = world.rails
    names = rails.names
    return {
        "now": world.clock.now,
        "drives": {rails.drive_names[i]: rails.at[i] for i in range(len(rails.at))},
        "moving": [rails.drive_names[i] for i in range(len(rails.at)) if rails.moving[i]],
        "horns": {world.servos.names[i]: world.servos.pos[i] // 1000 for i in range(len(world.servos.pos))},
        "pulses": {world.servos.names[i]: world.servos.pulse[i] // 1000 for i in range(len(world.servos.pos))},
        "rails": {names[c]: rails.wire_of(c) for c in range(rails.nw, len(names))},
        "outputs": {o.name: [leg.told for leg in o.legs] for o in world.contacts.outputs},
        "coils": {o.name: o.coil for o in world.contacts.outputs + world.contacts.groups},
        "lamps": {name: world.board.active[world.lamps[name]] for name in world.lamps},
        "trains": {t.name: trains_position(world, t) for t in world.trains.trains.values()},
        "live": live_bytes(),
        "counts": world.records.counts,
    }


def live_bytes() -> int:
    """Bytes of heap in use after a collection (the bench's own included); 0 where nobody counts them."""
    gc.collect()
    return gc.mem_alloc() if hasattr(gc, "mem_alloc") else 0


def trains_position(world: "World", train: "Train") -> int:
    """A train's front in millimetres along its path."""
    return world.trains.position(train) // 1000


def run_code(code: str, names: "dict[str, Any]") -> "dict[str, str]":
    """Run a piece of Python as the prompt would, with its names; what it prints, and the words of what it raises."""
    words: "list[str]" = []

    def say(*things: object) -> None:
        words.append(" ".join([str(t) for t in things]) + "\n")

    names["print"] = say
    try:
        exec(code, names)
    except Exception as problem:
        return {"out": "".join(words), "raised": "%s: %s" % (type(problem).__name__, problem)}
    return {"out": "".join(words)}
