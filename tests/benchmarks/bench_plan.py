"""Plan of two hundred turnouts on sixteen boards: how long, and how close to the proven bound."""

from __future__ import annotations

import time

from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.plan.planner import make_plan
from frogfeed.track.assembly.assemble import assemble

GAP = 0.02


def yards(turnouts: int, boards: int, districts: int, mixed: bool) -> Layout:
    """Yards side by side, each its own district with its supply in its middle; boards along the front.

    `mixed` deals the districts out turnout by turnout and puts all supplies at one end: a hard case, not a usual one.
    """
    text = ['[layout]\nname = "Yards"\ngauge = "OO"\ncontrol = "dc"']
    per = turnouts // districts
    for d in range(districts):
        text.append(f"[district.d{d}]\nat_mm = [{0 if mixed else 6000 * d + 3000}, 1000]")
    lines, places = ["[lines]"], ["[place]"]
    for n in range(turnouts):
        d, k = (n % districts, n) if mixed else (n // per, n % per)
        x, y = (120 * n, 0) if mixed else (6000 * d + 240 * (k % 25), 700 * (k // 25) + (n * 37) % 200)
        text.append(f'[turnout.T{n}]\nmake = "live-frog"\nstate = "isolated-frog"\nfrog_number = 6\nat_mm = [{x}, {y}]')
        feed = f'{{ feed = "d{d}", left = "A" }}'
        lines.append(f'a{n} = ["t{n}", {feed}, "T{n}.toe"]')
        lines += [f'{e[0]}{n} = ["T{n}.{e}", "|", {feed}, "{e[0]}{n}"]' for e in ("left", "right")]
        places += [f'{p}{n} = {{ kind = "buffer" }}' for p in "tlr"]
    for b in range(boards):
        at = int(24000 * (b + 0.5) / boards)
        text.append(f'[board.B{b}]\nprofile = "expander"\nserial = "{b}"\nat_mm = [{at}, {300 + 400 * (b % 2)}]')
    return read_layout_text("\n".join([*text, *places, *lines]) + "\n", "yards.toml")


def main(seconds: float = 60.0) -> None:
    """Plan the usual case and the hard one; the usual one must come within the gap."""
    for name, mixed in (("four yards, four supplies", False), ("districts mixed, supplies at one end", True)):
        layout = yards(200, 16, 4, mixed)
        network = assemble(layout)
        began = time.perf_counter()
        plan = make_plan(layout, network, seconds=seconds)
        took = time.perf_counter() - began
        o = plan.optimum
        print(f"plan of 200 turnouts on 16 boards: {name}")
        print(f"  whole plan                      {took:8.3f} s, of which search {o.seconds:.3f} s")
        print(f"  wire {o.wire_mm / 1000:.1f} m; cost {o.cost:.0f}, bound {o.bound:.0f}, gap {o.gap:.2%}")
        again = make_plan(layout, network, previous=plan.channels(), seconds=seconds)
        print(f"  planned again from itself       moved {again.optimum.moved}, {again.optimum.seconds:.3f} s")
        assert again.optimum.moved == 0
        assert mixed or o.gap <= GAP


if __name__ == "__main__":
    main()
