"""What the host may ask of a virtual board's world, by name."""

import gc
import sys

from boardfiles import has_settings


def orders(kernel, world, life):
    """What the host may ask of the world."""
    trains = world.trains

    def fault(message):
        world.fault(message["kind"], message["facts"])

    def hand(message):
        world.hands.throw(message["drive"], message["setting"], message["travel_us"])

    def press(message):
        world.set_input(message["input"], message["closed"])

    def place(message):
        trains.place(message["train"])

    def drive(message):
        trains.drive(message["train"], message["speed"])

    def remove(message):
        trains.remove(message["train"])

    def bare(message):
        world.watch.bare = message["bare"]
        world.watch.excuse = None if message["bare"] else has_settings

    def current(message):
        world.told_ma = message["ma"]
        world.sensors.look()

    def power(message):
        life.end("power")

    def hang(message):
        hang_in(message["where"], kernel)

    names = {"__name__": "__main__"}

    def code(message):
        return run_code(message["code"], names)

    def query(message):
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


def hang_in(where, kernel):
    """Put a loop without end in the place of a function or method: "frogboard.feed:Feed.step"."""
    module_name, _, path = where.partition(":")
    thing = sys.modules[module_name]
    *owners, last = path.split(".")
    for name in owners:
        thing = getattr(thing, name)

    def hang(*_, **__):
        while True:
            kernel.sleep(1000)

    if not hasattr(thing, last):
        raise KeyError(where)
    setattr(thing, last, hang)


def query_of(world):
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


def live_bytes():
    """Bytes of heap in use after a collection (the bench's own included); 0 where nobody counts them."""
    gc.collect()
    return gc.mem_alloc() if hasattr(gc, "mem_alloc") else 0


def trains_position(world, train):
    """A train's front in millimetres along its path."""
    return world.trains.position(train) // 1000


def run_code(code, names):
    """Run a piece of Python as the prompt would, with its names; what it prints, and the words of what it raises."""
    words = []

    def say(*things):
        words.append(" ".join([str(t) for t in things]) + "\n")

    names["print"] = say
    try:
        exec(code, names)
    except Exception as problem:
        return {"out": "".join(words), "raised": "%s: %s" % (type(problem).__name__, problem)}
    return {"out": "".join(words)}
