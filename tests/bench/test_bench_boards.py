"""Two boards with the real firmware on one railway: throws, a train over both, and a short that one of them feels."""

from __future__ import annotations

from frogfeed.bench.cases.base import shorts
from frogfeed.bench.link import client_of
from frogfeed.bench.rig import rig_of, yard_layout

TWO = """[board.B1]
profile = "expander"
channels = { T1 = "S1", T2 = "S2", "T1.F" = "F1", "T2.F" = "F2" }

[board.B2]
profile = "expander"
channels = { T3 = "S1", T4 = "S2", "T3.F" = "F1", "T4.F" = "F2" }
"""


def test_two_boards_on_one_railway() -> None:
    rig = rig_of(yard_layout(4).replace('[board.B1]\nprofile = "expander"\n', TWO))
    owner = {d.need.name: b.name for b in rig.plan.boards for d in b.drives}
    assert owner == {"T1": "B1", "T2": "B1", "T3": "B2", "T4": "B2"}
    with rig.bench() as bench:
        clients = {name: client_of(bench, name) for name in rig.documents}
        for name, client in clients.items():
            assert client.connect().board == name
        for drive, board in owner.items():
            clients[board].request("throw", {"drive": drive, "to": "left"}, busy_s=20)
        bench.advance(6000)
        ladder = ["shed:a-b", *(f"T{i}:toe-left" for i in range(1, 5)), "far-end:a-b"]
        bench.place_train(rig.train("goods", ladder, speed_mm_per_s=500))
        bench.advance(5000)
        clients["B2"].request("throw", {"drive": "T3", "to": "right"})
        bench.advance(3000)
        assert bench.log.of("spark", "dead-wheel", "loco-lost", "rule", "died", "restart") == []
        assert bench.query()["trains"] == {}
        assert (bench.wire_of("T1.F"), bench.wire_of("T3.F")) == ("main.B", "main.A")

        classes = bench.scenario["classes"]
        bench.fault("metal", rails=[classes["T3.F"], classes["main.B"]])
        bench.advance(12_000)
        count, longest = shorts(bench)
        assert 1 <= count <= 4
        assert longest < 40, "cut off by the hardware trip, which feels it a slice late, or two where a contact bounces"
        assert not bench.log.of("supply-trip")
        faults = {f.name: f.fault for c in clients.values() for f in c.state().feeds if f.fault}
        assert "T3.F" in faults
        assert not {"T1.F", "T2.F"} & set(faults)


def test_the_firmware_does_the_same_under_micropython_and_cpython() -> None:
    rig = rig_of(yard_layout(2))

    def events(python: bool) -> list[tuple[str, int, dict[str, object]]]:
        with rig.bench(python=python) as bench:
            assert ("CPython" in bench.interpreter) == python
            client = client_of(bench)
            client.connect()
            for to in ("left", "right"):
                for drive in ("T1", "T2"):
                    client.request("throw", {"drive": drive, "to": to}, busy_s=20)
                bench.advance(4000)
            assert {d.at for d in client.state().drives} == {"right"}
            return [(e.kind, e.t_us, dict(e.facts)) for e in bench.log if e.kind in ("coil", "leg", "blade", "rest")]

    assert events(True) == events(False)
