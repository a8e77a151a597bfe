"""What one table says of another: names declared once, and every name that is used declared."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from frogfeed.findings.codes import CODES
from frogfeed.layout.also_called import gauge_meant
from frogfeed.layout.ends import KindShape, fits_table, kind_name
from frogfeed.layout.known import Known
from frogfeed.layout.mistakes import Mistakes, did_you_mean, listed, shown
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import Accept, LayoutFile, Piece, Slip, SlipBlades

PIECE_TABLES = {
    "turnout": "turnout", "three-way": "three_way", "slip": "slip", "diamond": "diamond", "piece": "piece",
}  # fmt: skip


def pieces_by_path(file: LayoutFile) -> Iterable[tuple[KeyPath, str, Piece]]:
    """Every piece with its key path and name; a name used in two tables comes twice."""
    for table, attribute in PIECE_TABLES.items():
        for name, piece in getattr(file, attribute).items():
            yield (table, name), name, piece


def check_names(file: LayoutFile, mistakes: Mistakes) -> None:
    """One name for one thing, over all pieces and places."""
    first: dict[str, KeyPath] = {}
    paths = [path for path, _, _ in pieces_by_path(file)] + [("place", name) for name in file.place]
    where = mistakes.where
    ordered = (
        sorted(paths, key=lambda p: (where.nearest(p).line, where.nearest(p).column))
        if len({p[1] for p in paths}) < len(paths)
        else []
    )
    for path in ordered:
        name = str(path[1])
        earlier = first.setdefault(name, path)
        if earlier != path:
            mistakes.add(
                "file-name-twice",
                path,
                f"{name} is a {path[0]} here and a {earlier[0]} elsewhere",
                why="Lines, commands and labels call a thing by its name alone.",
                cure="Give one of them another name.",
                subject=name,
                related=[("named first here", where.nearest(earlier))],
            )


def check_parts(file: LayoutFile, known: Known, mistakes: Mistakes) -> None:
    """Gauge, wires, colours, rail code and board profiles by the tables of parts."""

    def check(
        code: str, path: KeyPath, value: str | None, allowed: tuple[str, ...] | None, word: str, why: str
    ) -> None:
        if value is None or allowed is None or value in allowed:
            return
        meant = gauge_meant(value, allowed) if word == "gauge" else None
        cure = f'Write gauge = "{meant}", with letters.' if meant is not None else did_you_mean(value, allowed)
        mistakes.add(code, path, f"there is no {word} {shown(value)}", why=why, cure=cure)

    head = file.layout
    check(
        "file-unknown-gauge", ("layout", "gauge"), head.gauge, known.gauges, "gauge",
        "The gauge says how far wheels and rails clear each other.",
    )  # fmt: skip
    for key, colour in (("A", head.colours.A), ("B", head.colours.B), ("switched", head.colours.switched)):
        check(
            "file-unknown-colour", ("layout", "colours", key), colour, known.colours, "wire colour",
            "Colours are named so that sheets and labels can spell and draw them.",
        )  # fmt: skip
    sizes = "Its resistance and what it carries come from the table of wires: mm², or AWG."
    check("file-unknown-wire", ("layout", "dropper_wire"), head.dropper_wire, known.wires, "wire size", sizes)
    if known.rail_codes is not None and head.rail_code not in known.rail_codes:
        codes = listed([str(c) for c in known.rail_codes], last="or", most=20)
        mistakes.add(
            "file-unknown-rail",
            ("layout", "rail_code"),
            f"there is no rail of code {head.rail_code}",
            why="The code is the rail's height in thousandths of an inch; its resistance follows from it.",
            cure=f"Write the nearest of {codes}.",
        )
    for name, district in file.district.items():
        check(
            "file-unknown-wire",
            ("district", name, "bus_wire"),
            district.bus_wire,
            known.wires,
            "wire size",
            sizes,
        )
    for name, board in file.board.items():
        check(
            "file-unknown-profile", ("board", name, "profile"), board.profile, known.profiles, "board profile",
            "The profile says what the board's pins can drive.",
        )  # fmt: skip


def check_kinds(
    file: LayoutFile, kinds: Mapping[str, KindShape], doubtful: frozenset[str], mistakes: Mistakes
) -> dict[str, KindShape | None]:
    """The shape of every piece, None where its kind is in error."""
    shapes: dict[str, KindShape | None] = {}
    for path, name, piece in pieces_by_path(file):
        if name in shapes:
            continue
        shapes[name] = None if name in doubtful else _shape(path, piece, kinds, mistakes)
    return shapes


def _shape(path: KeyPath, piece: Piece, kinds: Mapping[str, KindShape], mistakes: Mistakes) -> KindShape | None:
    if isinstance(piece, Slip) and piece.kind is not None:
        said = piece.slip_road is not None or piece.blades_move is not SlipBlades.SAME_WAY
        if said or piece.kind not in kinds:
            mistakes.add(
                "file-slip-kind",
                (*path, "kind"),
                f"{path[1]} is of kind {shown(piece.kind)}"
                + (", and slip_road or blades_move say so too" if said else ""),
                why="Without a kind, a slip with a slip_road is a single slip, and one without is a double slip.",
                cure='Leave kind out; write slip_road = "a.left-b.right" or "a.right-b.left" for a single slip.',
            )
            return None
    kind = kind_name(piece)
    shape = kinds.get(kind)
    if shape is None:
        mistakes.add(
            "file-unknown-kind",
            (*path, "kind"),
            f"there is no kind of piece {shown(kind)}",
            why="The kind says which ends, rails and roads a piece has.",
            cure=did_you_mean(kind, _fitting(piece, kinds))
            + (" Files with kinds of your own are listed in [layout], catalogue." if path[0] == "piece" else ""),
        )
        return None
    if not fits_table(shape, piece):
        mistakes.add(
            "file-unknown-kind",
            (*path, "kind"),
            f"{shown(kind)} is a {shape.title}, and does not belong under [{path[0]}.{path[1]}]",
            why=f"Its ends are {listed(shape.ends)}.",
            cure=f"Here may stand: {listed(_fitting(piece, kinds))}. For other kinds write [piece.{path[1]}].",
        )
        return None
    if piece.make.value not in shape.makes:
        mistakes.add(
            "file-unknown-make",
            (*path, "make"),
            f"a {shape.title} is not made as {piece.make.value}",
            cure=did_you_mean(piece.make.value, sorted(shape.makes)),
        )
    return shape


def _fitting(piece: Piece, kinds: Mapping[str, KindShape]) -> list[str]:
    return [kind for kind, shape in kinds.items() if fits_table(shape, piece)]


def check_districts(file: LayoutFile, districts: frozenset[str] | None, mistakes: Mistakes) -> None:
    """Districts named by places and by other districts."""
    if districts is None:
        return
    if not districts:
        mistakes.add(
            "file-missing-key",
            ("district",),
            "no [district.NAME] is declared",
            cure="Declare the supply: [district.main], with trip_a and volts as printed on it.",
        )
        return

    def check(path: KeyPath, name: str) -> None:
        if name not in districts:
            mistakes.add(
                "file-unknown-district",
                path,
                f"there is no district {shown(name)}",
                cure=did_you_mean(name, sorted(districts)),
            )

    for name, place in file.place.items():
        if place.district is not None:
            check(("place", name, "district"), place.district)
    for name, district in file.district.items():
        for key, others in (("in_phase", district.in_phase), ("common_with", district.common_with)):
            for i, other in enumerate(others):
                check(("district", name, key, i), other)
                if other == name:
                    mistakes.add(
                        "file-unknown-district",
                        ("district", name, key, i),
                        f"{name} names itself",
                        why="The other district belongs here; one of the two may name the other.",
                        cure="Remove it.",
                    )


def check_accepts(file: LayoutFile, mistakes: Mistakes) -> None:
    """Codes named by `accept` entries of pieces and places."""

    def check(path: KeyPath, accepts: Iterable[Accept]) -> None:
        for i, entry in enumerate(accepts):
            at = (*path, "accept", i, "code")
            known = CODES.get(entry.code)
            acceptable = [c for c, known_code in CODES.items() if known_code.acceptable]
            if known is None:
                mistakes.add(
                    "file-unknown-code",
                    at,
                    f"no finding has the code {shown(entry.code)}",
                    cure=did_you_mean(entry.code, acceptable, "See docs/reference/findings.md for all codes."),
                )
            elif not known.acceptable:
                mistakes.add(
                    "file-not-acceptable",
                    at,
                    f"a finding {shown(entry.code)} cannot be accepted",
                    why=f"It means: {known.meaning}.",
                    cure="Cure it, and remove this entry.",
                )

    for path, _, piece in pieces_by_path(file):
        check(path, piece.accept)
    for name, place in file.place.items():
        check(("place", name), place.accept)


def check_boards(file: LayoutFile, outputs: frozenset[str], drives: Iterable[str], mistakes: Mistakes) -> None:
    """USB serial numbers, and what channels are kept for: `outputs` are names of pieces and places with feeds."""
    serials: dict[str, KeyPath] = {}
    things = {*drives, *outputs}
    given: dict[str, KeyPath] = {}
    for name, board in file.board.items():
        if board.serial is not None:
            path: KeyPath = ("board", name, "serial")
            first = serials.setdefault(board.serial, path)
            if first != path:
                mistakes.add(
                    "file-serial-twice",
                    path,
                    f"{name} has the USB serial number of board {first[1]}",
                    why="The serial number is how two boards on one laptop are told apart.",
                    cure="`frogfeed boards` shows the serial number of every board that is plugged in.",
                    related=[("the same number here", mistakes.where.nearest(first))],
                )
        used: dict[str, KeyPath] = {}
        for thing, channel in board.channels.items():
            path = ("board", name, "channels", thing)
            if thing not in things and thing.partition(".")[0] not in outputs:
                mistakes.add(
                    "file-channel-unknown",
                    path,
                    f"the layout has no drive, switched feed or thing of the panel {shown(thing)}",
                    why="A channel is kept for a drive (its name), a switched feed (T1.F, or a place's name), or a"
                    " button or lamp (button.NAME, lamp.NAME).",
                    cure=did_you_mean(thing, sorted(things)),
                    at_key=True,
                )
            for taken, key, what in (
                (used, channel, f"channel {channel} of {name} is kept for two things"),
                (given, thing, f"{thing} is given a second channel"),
            ):
                first = taken.setdefault(key, path)
                if first != path:
                    mistakes.add(
                        "file-channel-twice",
                        path,
                        what,
                        why="A channel drives one thing, and a thing hangs on one channel.",
                        cure="Choose another channel, or leave one of them for `frogfeed plan` to choose.",
                        related=[("given first here", mistakes.where.nearest(first))],
                    )
