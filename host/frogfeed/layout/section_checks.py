"""Switched sections against the rest of the file: what they take in, and that a selector has something to select."""

from __future__ import annotations

from frogfeed.layout.mistakes import Mistakes, did_you_mean, shown
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import LayoutFile


def check_sections(file: LayoutFile, doubtful: frozenset[str], mistakes: Mistakes) -> None:
    """`takes_in` and `selector` of places; each piece or place belongs to one section."""
    members = file.members()
    taken: dict[str, KeyPath] = {}
    for name, place in file.place.items():
        path: KeyPath = ("place", name)
        for key, said in (("takes_in", bool(place.takes_in)), ("selector", place.selector is not None)):
            if said and place.feed is None:
                mistakes.add(
                    "file-section",
                    (*path, key),
                    f"{name} has {key}, but no switched feed",
                    why="Only a section that changes its polarity takes in others or is told which side to follow.",
                    cure='Write feed = "switched" beside it, or remove it.',
                    at_key=True,
                )
        for i, other in enumerate(place.takes_in):
            at = (*path, "takes_in", i)
            if other in doubtful:
                continue
            if other not in members:
                mistakes.add(
                    "file-unknown-piece",
                    at,
                    f"there is no piece or place {shown(other)}",
                    cure=did_you_mean(other, sorted(members)),
                )
                continue
            there = file.place.get(other)
            first = taken.setdefault(other, at)
            if other == name or first != at:
                mistakes.add(
                    "file-section",
                    at,
                    f"{name} takes in {'itself' if other == name else f'{other} a second time'}"
                    if first[1] == name
                    else f"{other} is taken in by {first[1]} and by {name}",
                    why="A length of rail belongs to one section.",
                    cure="Remove it here.",
                )
            elif there is not None and there.feed is not None:
                mistakes.add(
                    "file-section",
                    at,
                    f"{name} takes in {other}, which has a switched feed of its own",
                    why="Two switched feeds on one length of rail would short where they differ.",
                    cure=f"Remove feed from [place.{other}], or leave {other} out here.",
                )
