"""Random histories of random boards: every rule after every step, as `witness` sees it."""

import sys

import boards
from case_fuzz import Random
from witness import OVER, Witness

COUNT = 150 if sys.implementation.name == "cpython" else 40
"""Histories in the ordinary run; `test_boards.py` goes further."""
FIRST = 1000
ALL = False
"""Whether to look for what is broken on purpose also where that takes more than `QUICK` histories."""
QUICK = 60
MOST = 4000


class Dice(Random):
    """The same numbers, by their upper digits: the lower ones come round again soon."""

    def below(self, n):
        self.state = (self.state * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self.state >> 9) * n >> 23


def history(random, doc, length):
    """So many things that happen, drawn without a look at the board: so that it may be shortened."""
    drives, feeds = len(doc["drives"]), len(doc["feeds"])
    found = []
    for _ in range(length):
        what = random.below(40)
        d, to, f = random.below(drives), random.below(2), random.below(feeds)
        if what < 9:
            found.append(("throw", d, to))
        elif what < 12:
            found.append(("short", f, 1 + random.below(3)))
        elif what < 15:
            found.append(("hand", d, to, random.below(4)))
        elif what == 15:
            found.append(("trim", d, to, random.below(240) - 120, random.below(2)))
        elif what == 16:
            found.append((("all_off",), ("light",), ("reset", -1), ("reset", -1))[random.below(4)])
        elif what == 17:
            found.append(("reset", f))
        elif what < 20:
            found.append(("short", f, random.below(4)))
        elif what < 22:
            found.append(("strike", random.below(2)))
        elif what < 24:
            found.append(("read", random.below(2), (0, 0, -1, OVER)[random.below(4)]))
        elif what < 27 and doc["inputs"]:
            i = random.below(len(doc["inputs"]))
            found += [("raw", i, 1), ("wait", doc["tick_ms"], 1 + random.below(12)), ("raw", i, 0)]
        elif what < 30 and doc.get("chips"):
            found.append(("chip", random.below(2), random.below(2)))
        elif what == 30:
            found.append((("cut",), ("reload",))[to])
        elif what == 31:
            found.append(("flash_fails",))
        elif what == 32:
            found.append(("settle", 0))
        elif what == 33:
            found.append(("nap",))
        else:
            found.append(("throw", d, to))
        late_ms = (doc["tick_ms"], doc["tick_ms"], 2 * doc["tick_ms"], 20, 50, 200)[random.below(6)]
        found.append(("wait", max(late_ms, doc["tick_ms"]), 1 + random.below(14)))
    return found + [("settle", 0), ("nap",), ("settle", 1), ("nap",)]


class Broken(AssertionError):
    """`number`: the history in which a rule is broken."""

    def __init__(self, number, why):
        super().__init__("history %d: %s" % (number, why))
        self.number = number


def run(doc, happens):
    """The witness of a whole history; raises AssertionError where a rule is broken."""
    witness = Witness(doc)
    for event in happens:
        witness.act(event)
    witness.numbers()
    return witness


def draw(number):
    """A document, a history, and how many documents the rules refused: all of one number."""
    random = Dice(number * 7919)
    doc, refused = boards.draw(random)
    return doc, history(random, doc, 6 + random.below(18)), refused


def failure(doc, happens):
    """What goes wrong, or None."""
    try:
        run(doc, happens)
    except Exception as error:
        return "%s: %s" % (type(error).__name__, error)
    return None


def shortened(doc, happens):
    """As few of the events as still break a rule, if not always the same one."""
    size = len(happens)
    while size:
        at = 0
        while at < len(happens):
            fewer = happens[:at] + happens[at + size :]
            if failure(doc, fewer) is None:
                at += size
            else:
                happens = fewer
        size //= 2
    return happens


def many(first, count):
    """(steps, trips, naps, documents refused) of so many histories; raises Broken with the first that fails."""
    steps = trips = naps = refused = 0
    for number in range(first, first + count):
        doc, happens, more = draw(number)
        refused += more
        try:
            witness = run(doc, happens)
        except AssertionError as error:
            raise Broken(number, error)
        steps += witness.steps
        trips += witness.trip_count
        naps += witness.naps
    return steps, trips, naps, refused


def test_random_boards_keep_to_the_rules():
    found = many(FIRST, COUNT)
    print("  from %d on, %d histories: %d steps, %d trips, %d naps, %d documents refused" % ((FIRST, COUNT) + found))
    assert found[0] > 50 * COUNT and found[1] and found[2]


def test_the_witness_finds_what_is_wrong():
    """Each rule broken on purpose is found: a witness that could not complain would prove nothing."""
    if sys.implementation.name != "cpython":
        return  # the same, and slower
    from frogboard import feed, guard, hand, inputs, mover, outputs

    def nothing(*args):
        return None

    def yes(*args):
        return True

    def no(*args):
        return False

    def known(contacts, i):
        return contacts.known[i] == 1

    def marked(self):
        return [(d.at if d.at < 2 else 0, d.pulse_us) for d in self.drives]

    breaks = [
        (feed.Feed, "_off_passed", no),
        (feed.Feed, "_on_passed", yes),
        (feed.Feed, "clear", yes),
        (feed.Feed, "stir", nothing),
        (mover.Mover, "positions", marked),
        (outputs.Group, "surely_off", True),
        (outputs.PairOut, "cut", nothing),
        (guard.Guard, "_trip", nothing),
        (guard.Guard, "_retry", nothing),
        (hand, "_still", known),
        (inputs.Inputs, "step", nothing),
    ]
    if ALL:
        breaks += [
            (mover.Mover, "_another_jumps", no),
            (outputs.LatchingOut, "lose", nothing),
            (outputs.ChangeoverOut, "lose", nothing),
            (guard.Guard, "_blind", nothing),
            (guard.Guard, "busy", False),
        ]
    for owner, name, broken in breaks:
        sound = getattr(owner, name)
        setattr(owner, name, broken)
        why = None
        try:
            many(FIRST, MOST if ALL else QUICK)
        except Exception as error:
            why = error
        setattr(owner, name, sound)
        assert why is not None, "%s broken was not found" % name
        print("  %s broken: %s" % (name, why))
