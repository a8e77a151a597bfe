"""What a page is told of the layout: once when it opens, and again when the layout changes."""

from __future__ import annotations

from typing import Any

from frogfeed.console.edits import feeds_at
from frogfeed.console.railway import Railway
from frogfeed.findings.finding import Finding
from frogfeed.layout.schema import Piece
from frogfeed.track.network.conditions import to_json


def finding_view(f: Finding) -> dict[str, Any]:
    """A finding for the page."""
    return {
        "code": f.code,
        "severity": str(f.severity),
        "subject": f.subject,
        "what": f.what,
        "why": f.why,
        "cure": f.cure,
        "line": f.where.line if f.where else None,
        "when": dict(f.witness) if f.witness else None,
        "path": list(f.path),
        "accepted": f.accepted,
    }


def layout_view(railway: Railway) -> dict[str, Any]:
    """The drawing, drives, feeds, places, pieces, joints and findings of a layout."""
    layout, network = railway.layout, railway.network
    return {
        "name": layout.file.layout.name,
        "hash": layout.hash,
        "control": str(layout.file.layout.control),
        "colours": railway.colours(),
        "drawing": railway.drawing,
        "drives": {
            d: {
                "settings": list(s),
                "hand": d in railway.hand,
                "board": railway.drives[d][0].name if d in railway.drives else None,
                "pieces": [n["name"] for n in railway.drawing["nodes"] if d in n["drives"]],
            }
            for d, s in network.drives.items()
        },
        "feeds": {
            s.output: {
                "piece": s.piece,
                "district": s.district,
                "rail": s.rail,
                "table": [{"when": to_json(r.when), "wire": r.wire} for r in s.rows],
            }
            for s in network.switched
        },
        "places": list(layout.file.place),
        "districts": list(layout.file.district),
        "pieces": {n: _piece(n, p, railway) for n, p in layout.file.pieces().items() if n in network.pieces},
        "joints": [
            {
                "a": list(j.a),
                "b": list(j.b),
                "gaps": sorted(str(h) for h in j.gaps),
                "line": j.line,
                "file_line": j.at.line,
                "feeds": feeds_at(layout, j),
            }
            for j in network.joints
        ],
        "findings": [finding_view(f) for f in railway.findings],
        "planned": railway.plan is not None,
    }


def _piece(name: str, piece: Piece, railway: Railway) -> dict[str, Any]:
    links, blades, frog = piece.facts
    return {
        "kind": railway.network.pieces[name].kind,
        "make": str(piece.make),
        "state": str(piece.state) if piece.state else None,
        "links": str(links),
        "blades": str(blades),
        "frog": str(frog),
    }
