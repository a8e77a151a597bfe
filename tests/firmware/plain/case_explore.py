import sys

from explorer import Twins, World, explore
from frogboard.drive import WAIT

from documents import changeover, document, follow, hand, latching, middle_moves, pair, servo, strict_moves

ENDS = (1000, 1008)


def drive(name="D1", pin=0, **more):
    return servo(name, pin, ENDS, travel_ms=100, lag_ms=20, **more)


def moves(d):
    return strict_moves(d, ENDS, lead_ms=30, lag_ms=40)


def board(drives, feeds, **more):
    return document(drives, feeds, tick_ms=20, **more)


def tick(world):
    world.tick()


def fail(world):
    world.flash_works = False
    world.tick()


def throw(d, to):
    return ("throw %d to %d," % (d, to), lambda world: world.control.orders.throw(d, to))


def settle(world):
    """Ticks until nothing happens any more: so that a few events lead far."""
    for _ in range(80):
        world.tick()
        if world.control.idle:
            return


SETTLE = "until idle,"

COMMON = [
    ("tick,", tick),
    (SETTLE, settle),
    ("flash fails,", fail),
    ("power cut,", lambda world: world.cut()),
]
OFF_AND_RESET = [
    ("all off,", lambda world: world.control.orders.turn_all_off()),
    ("reset,", lambda world: world.control.orders.reset()),
]
STRIKE = [("trip,", lambda world: world.strike(0))]


def walk(name, make, actions):
    """As far as `MOST` states lead; or, where a `DEPTH` is set, every state that so many single events lead to."""
    if DEPTH:
        actions = [(said, action) for said, action in actions if said != SETTLE]
    found = explore(make, actions, 10**9 if DEPTH else MOST, DEPTH or 10**6)
    report(name, found)
    assert found[0] > 200


def report(name, found):
    print(
        "%s: %d states, %d transitions, depth %d, %s" % ((name,) + found[:3] + (("cut off", "all of them")[found[3]],))
    )


def quick_pair(name, a, b, table, moves_, **more):
    return pair(name, a, b, table, moves_, dead_ms=30, release_ms=30, operate_ms=0, bounce_ms=0, **more)


def test_a_servo_and_a_pair():
    doc = board([drive()], [quick_pair("F", 16, 17, follow(0), moves(0), retries=1, retry_ms=100)])
    doc["trips"] = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]
    actions = COMMON + [throw(0, 0), throw(0, 1)] + STRIKE + OFF_AND_RESET
    walk("servo, pair, trip", lambda: World(doc), actions)


def test_two_servos_share_a_feed():
    rows = [
        {"when": [[0, 0], [1, 0]], "feed": "A"},
        {"when": [[0, 0], [1, 1]], "feed": "B"},
        {"when": [[0, 1]], "feed": "B"},
    ]
    doc = board([drive("D1", 0), drive("D2", 1)], [quick_pair("F", 16, 17, rows, moves(0) + moves(1))], max_moving=1)
    actions = COMMON + [throw(0, 0), throw(0, 1), throw(1, 0), throw(1, 1)]
    walk("two servos, one feed", lambda: World(doc), actions)


def test_a_changeover_behind_an_enable():
    feed = changeover(
        "F", 16, "B", follow(0), moves(0), release_ms=30, operate_ms=20, bounce_ms=0, enable=0, retries=1, retry_ms=100
    )
    doc = board([drive()], [feed], groups=[{"name": "E", "out": {"pin": 18}, "release_ms": 30, "operate_ms": 20}])
    doc["trips"] = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]
    actions = COMMON + [throw(0, 0), throw(0, 1)] + STRIKE + OFF_AND_RESET
    walk("changeover behind an enable", lambda: World(doc), actions)


def test_bonded_blades_and_outputs_without_an_off():
    over = middle_moves(0, ENDS)
    feeds = [
        quick_pair("F", 16, 17, follow(0), over, try_other=True, bonded=True),
        changeover("G", 18, "A", follow(0), over, release_ms=20, operate_ms=20, bounce_ms=0, bonded=True),
        latching("H", 19, 20, follow(0), over, release_ms=0, operate_ms=0, bounce_ms=0, bonded=True),
    ]
    doc = board([drive()], feeds)
    doc["trips"] = [{"name": "K", "input": {"pin": 21}, "watches": [0, 1, 2]}]
    actions = COMMON + [throw(0, 0), throw(0, 1)] + STRIKE + OFF_AND_RESET

    def never_waits(action):
        def checked(world):
            action(world)
            waiting = world.control.drives[0]
            assert waiting.phase != WAIT or waiting._done_ms < 200, "waits for what can't be off"
            for f in (1, 2):
                feed = world.control.feeds[f]
                if action is settle and world.control.idle and feed.view[0] < 2 and not feed.forbids:
                    assert feed.out.told == feed.want, "at rest and not at what its table says"

        return checked

    actions = [(name, never_waits(action)) for name, action in actions]
    walk("bonded, without an off", lambda: World(doc), actions)


def test_latching_and_changeover_in_one_group():
    one = latching("F", 16, 17, follow(0), moves(0), release_ms=30, operate_ms=0, bounce_ms=0, enable=0)
    two = changeover("G", 19, "A", follow(0, "A", "B"), moves(0), release_ms=30, operate_ms=0, bounce_ms=0, enable=0)
    doc = board([drive()], [one, two], groups=[{"name": "E", "out": {"pin": 18}, "release_ms": 30, "operate_ms": 0}])
    actions = COMMON + [throw(0, 0), throw(0, 1)] + OFF_AND_RESET
    walk("latching and changeover in one group", lambda: World(doc), actions)


def test_three_asleep_behind_one_enable_are_as_if_awake():
    """Two relays that follow a drive each and one that is always on: every state beside the same without any sleep."""
    times = {"release_ms": 30, "operate_ms": 20, "bounce_ms": 0, "enable": 0}
    feeds = [
        changeover("F", 16, "B", follow(0), moves(0), retry_ms=100, **times),
        latching("G", 17, 18, follow(1), moves(1), **times),
        changeover("H", 19, "A", [{"when": [], "feed": "A"}], [], **times),
    ]
    doc = board([drive("D1", 0), drive("D2", 1)], feeds, max_moving=2)
    doc["groups"] = [{"name": "E", "out": {"pin": 22}, "release_ms": 30, "operate_ms": 20}]
    doc["trips"] = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]
    actions = COMMON + [throw(0, 0), throw(0, 1), throw(1, 0), throw(1, 1)] + STRIKE + OFF_AND_RESET

    def twice(action):
        return lambda twins: twins.do(action)

    walk("three asleep behind one enable", lambda: Twins(doc), [(name, twice(action)) for name, action in actions])


def test_a_hand_thrown_turnout_and_a_selector():
    doc = board(
        [hand("D1", [0, 1]), hand("S", [2, -1])],
        [quick_pair("F", 16, 17, [{"when": [[0, 0], [1, 0]], "feed": "A"}, {"when": [[0, 1]], "feed": "B"}], [])],
        inputs=[{"name": "I%d" % i, "pin": 10 + i, "debounce_ms": 40} for i in range(3)],
    )

    def flip(i):
        def action(world):
            world.control.inputs.raw[i] ^= 1

        return ("input %d," % i, action)

    actions = COMMON[:2] + COMMON[3:] + [flip(0), flip(1), flip(2)] + OFF_AND_RESET
    walk("hand-thrown, selector", lambda: World(doc), actions)


def test_the_walk_finds_what_is_wrong():
    """Each rule broken on purpose is found: a walk that could not fail would prove nothing."""
    from frogboard import feed as feed_module
    from frogboard import mover, outputs

    slow = strict_moves(0, ENDS, lead_ms=60, lag_ms=40)
    feed = pair("F", 16, 17, follow(0), slow, dead_ms=60, release_ms=60, operate_ms=0, bounce_ms=0, retries=1)
    doc = board([drive(rest="hold")], [feed])
    doc["trips"] = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]
    actions = COMMON[:2] + COMMON[3:] + [throw(0, 0), throw(0, 1)] + STRIKE
    explore(lambda: World(doc, known=True), actions, 1500)

    def late_off(self, k, drive_, to):
        return False

    def always_clear(self, k, to):
        return True

    def early_on(self, k, drive_, to):
        return True

    def no_mark(self):
        return [(d.at if d.at < 2 else 0, d.pulse_us) for d in self.drives]

    def no_dead_time(self, dt_ms, want):
        self.told = want
        self._lines[self._a] = 1 if want == 1 else 0
        self._lines[self._b] = 1 if want == 2 else 0

    def keeps_on(self):
        self.told = 0

    breaks = (
        (feed_module.Feed, "_off_passed", late_off),
        (feed_module.Feed, "clear", always_clear),
        (feed_module.Feed, "_on_passed", early_on),
        (mover.Mover, "positions", no_mark),
        (outputs.PairOut, "step", no_dead_time),
    )
    for cls, name, broken in breaks:
        sound = getattr(cls, name)
        setattr(cls, name, broken)
        try:
            explore(lambda: World(doc, known=True), actions, 2500)
        except AssertionError as error:
            print("  %s broken: %s" % (name, str(error).split(",")[0]))
            continue
        finally:
            setattr(cls, name, sound)
        raise AssertionError("%s broken was not found" % name)


MOST = 1200 if sys.implementation.name == "cpython" else 300
"""So many states in the ordinary run; `test_explore.py` goes further, and where there is an end, to the end."""

DEPTH = 0
