"""Layouts for planning: rows of turnouts, each with its own line, at stated places."""

from __future__ import annotations

from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text


def row(
    count: int,
    boards: str = "",
    head: str = "",
    districts: tuple[str, ...] = ("main",),
    piece: str = 'make = "live-frog"\nstate = "isolated-frog"\nfrog_number = 6',
    extra: str = "",
) -> Layout:
    """`count` turnouts T1, T2, ... 500 mm apart, dealt out over the districts, with a board section of TOML."""
    text = ['[layout]\nname = "Row"\ngauge = "OO"\ncontrol = "dc"', head]
    text += [f"[district.{d}]\nat_mm = [0, 0]" for d in districts]
    lines, places = ["[lines]"], ["[place]"]
    for n in range(1, count + 1):
        d = districts[(n - 1) % len(districts)]
        text.append(f"[turnout.T{n}]\n{piece}\nat_mm = [{500 * n}, 0]")
        feed = f'{{ feed = "{d}", left = "A" }}'
        lines.append(f'toe{n} = ["t{n}", {feed}, "T{n}.toe"]')
        lines.append(f'left{n} = ["T{n}.left", "|", {feed}, "l{n}"]')
        lines.append(f'right{n} = ["T{n}.right", "|", {feed}, "r{n}"]')
        places += [f'{p}{n} = {{ kind = "buffer", length_mm = 500 }}' for p in "tlr"]
    return read_layout_text("\n".join([*text, *places, *lines, extra, boards]) + "\n", "row.toml")


def board(name: str, profile: str, x: int = 0, channels: str = "") -> str:
    """One board's table."""
    kept = f"\nchannels = {{ {channels} }}" if channels else ""
    return f'[board.{name}]\nprofile = "{profile}"\nserial = "{name}"\nat_mm = [{x}, 0]{kept}\n'
