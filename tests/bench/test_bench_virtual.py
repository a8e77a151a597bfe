"""The bench in virtual time, with a few lines of firmware: what is right shows nothing, what is wrong shows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from frogfeed.bench.bench import Bench
from frogfeed.bench.physical import OutputPhysics, Physical
from frogfeed.bench.route import LOCO, LaidRoute, train_spec, wagon

MakeBench = Callable[..., Bench]
BOARD = Path(__file__).parent / "board"


def run(bench: Bench, *letters: str) -> None:
    port = bench.serial()
    for letter in letters:
        port.write(letter.encode())
        bench.advance(2500)


def test_orderly_throws_show_nothing(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        run(bench, "s", "r", "l", "r")
        assert bench.log.of("spark", "dead-wheel", "loco-lost") == []
        assert bench.wire_of("T1.F") == "m.A"
        assert [e.facts["side"] for e in bench.log.where("leg", closed=1) if e.facts["closed"]][-1] == "A"


@pytest.mark.parametrize(
    ("mistake", "cause"),
    [
        ("O", "T1.BL touches T1.SL"),  # off after the arriving blade touches
        ("E", "T1.F leg A"),  # on before the leaving blade lets go
        ("D", "T1.F leg A"),  # no dead time, and the wrong leg
        ("I", "T1.F leg A"),  # the table inverted
    ],
)
def test_each_mistake_sparks(make_bench: MakeBench, mistake: str, cause: str) -> None:
    with make_bench() as bench:
        if mistake == "D":
            run(bench, "s", "D")
        elif mistake == "I":
            run(bench, "I", "s")
        else:
            run(bench, "s", mistake, "r")
        sparks = bench.log.of("spark")
        assert sparks, "the bench saw nothing"
        assert sparks[0].facts["wires"] == ["m.A", "m.B"]
        assert cause in sparks[0].facts["cause"]


def test_no_dead_time_sparks_through_two_slow_relays(make_bench: MakeBench) -> None:
    with without_contacts(make_bench()) as bench:
        run(bench, "s", "D")
        first, *_ = bench.log.of("spark")
        assert first.facts["cause"] == ["T1.F leg A", "T1.F leg B"]
        # told off, B takes 15 ms to let go; A, told on 1 us later, closes after 10 ms and bounces
        assert bench.log.of("spark-end")[-1].t_us - first.t_us == 4999


def test_a_slower_relay_than_promised_sparks(make_bench: MakeBench) -> None:
    slow = Physical(outputs={"T1.F": OutputPhysics(release_ms=700.0)})
    with make_bench(physical=slow) as bench:
        run(bench, "s", "r")
        assert bench.log.of("spark")


def test_both_legs_break_s1_even_where_no_contact_has_moved(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        run(bench, "b")
        assert bench.log.where("rule", rule="S1")


def test_a_drive_before_settings_breaks_s3(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        run(bench, "s")
        assert bench.log.where("rule", rule="S3")


def test_a_drive_with_settings_keeps_s3(make_bench: MakeBench) -> None:
    from frogboard import settings

    sealed = settings.seal('{"a":1}')
    with make_bench(files={"B1": {"store/settings.json": sealed}}) as bench:
        run(bench, "s", "r")
        assert not bench.log.where("rule", rule="S3")


def test_the_same_seed_gives_the_same_run_and_another_gives_another(make_bench: MakeBench) -> None:
    def events(seed: int) -> list[str]:
        with make_bench(seed=seed) as bench:
            run(bench, "s", "r", "O", "l")
            return [str(e) for e in bench.log]

    first = events(1)
    assert len(first) > 30
    assert first == events(1)
    assert first != events(2)


def test_cpython_and_micropython_see_the_same(make_bench: MakeBench) -> None:
    def events(python: bool) -> list[tuple[str, int, dict[str, object]]]:
        with make_bench(python=python) as bench:
            run(bench, "s", "r", "O", "l")
            return [(e.kind, e.t_us, dict(e.facts)) for e in bench.log]

    assert events(True) == events(False)


def test_reset_lets_go_of_every_output_and_keeps_the_blades(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        run(bench, "s", "r")
        before = bench.query()
        assert before["outputs"]["T1.F"] == [1, 0]
        port = bench.serial()
        port.read()
        port.write(b"z")
        bench.advance(1000)
        assert b"ready 3" in port.read()
        after = bench.query()
        assert bench.lives() == 2
        assert after["outputs"]["T1.F"] == [0, 0]
        assert after["drives"] == before["drives"] == {"T1": 2}
        (restart,) = bench.log.of("restart")
        opened = [e for e in bench.log.where("leg", closed=0) if e.t_us > restart.t_us]
        assert opened[0].t_us - restart.t_us == 15_000, "the relay takes its release time after the reset"


def test_reset_in_mid_throw_stops_the_horn_where_it_is(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        port = bench.serial()
        port.write(b"s")
        bench.advance(1000)
        port.write(b"r")
        bench.advance(500)
        port.write(b"z")  # read only after the throw: cut it off by the watchdog instead
        assert bench.query()["moving"] == ["T1"]
        assert 1100 < bench.query()["horns"]["T1"] < 1900


def test_the_watchdog_bites(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        port = bench.serial()
        port.write(b"w")
        bench.advance(1900)
        assert [e.facts["cause"] for e in bench.log.of("restart")] == ["watchdog"]


def test_a_program_that_dies_leaves_its_words_and_a_prompt(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        port = bench.serial()
        port.write(b"x")
        bench.advance(500)
        assert "on purpose" in bench.log.of("died")[0].facts["text"]
        heard = b""
        port.write(b"print(6*7)\r\n")
        for _ in range(100):
            bench.advance(1)
            heard += port.read()
            if b"42" in heard:
                break
        assert b"42" in heard


def test_a_train_over_a_fed_frog_loses_nothing(make_bench: MakeBench, route: Callable[..., LaidRoute]) -> None:
    path = route("stopT1:a-b", "T1:toe-left", "mainT1:a-b")
    with make_bench() as bench:
        run(bench, "s")
        bench.place_train(train_spec("goods", path, [LOCO, wagon("van", 80.0)], speed_mm_per_s=300))
        bench.advance(6000)
        assert bench.log.of("spark", "dead-wheel", "loco-lost") == []
        assert [e.facts["what"] for e in bench.log.of("train")] == ["placed", "gone"]
        assert bench.query()["trains"] == {}


def without_contacts(bench: Bench) -> Bench:
    """The same bench with blades that never touch: dirty ones."""
    scenario = {**bench.scenario, "rails": {**bench.scenario["rails"], "contacts": []}}
    return Bench(scenario, firmware=BOARD)


def test_wheels_on_an_unfed_frog_are_dead(make_bench: MakeBench, route: Callable[..., LaidRoute]) -> None:
    path = route("stopT1:a-b", "T1:toe-left", "mainT1:a-b")
    with without_contacts(make_bench()) as bench:
        bench.place_train(train_spec("goods", path, [LOCO], speed_mm_per_s=200))
        bench.advance(8000)
        dead = bench.log.of("dead-wheel")
        assert {e.facts["axle"] for e in dead} == {1, 2, 3}
        assert {e.facts["hand"] for e in dead} == {"right"}
        alive = bench.log.of("wheel-live")
        # 135 mm of blade, frog and vee at 200 mm/s, less 1 mm at either end that the wheel bridges
        assert [e.facts["us"] for e in alive] == [665_000] * 3
        assert len(bench.log.of("loco-lost")) == 1, "all three axles stand on the dead rail for a while"


def test_wheels_that_bridge_the_heel_gap_of_a_wrong_frog_spark(
    make_bench: MakeBench, route: Callable[..., LaidRoute]
) -> None:
    netlist_path = route("stopT1:a-b", "T1:toe-left", "mainT1:a-b")
    with without_contacts(make_bench()) as bench:
        run(bench, "I", "s")
        assert bench.log.of("spark") == []
        bench.place_train(train_spec("van", netlist_path, [wagon("van", 10.0)], speed_mm_per_s=200))
        bench.advance(8000)
        sparks = bench.log.of("spark")
        assert sparks
        assert any("wheel" in word for word in sparks[0].facts["cause"])
        ends = bench.log.of("spark-end")
        assert all(e.facts["us"] == pytest.approx(10_000, rel=0.02) for e in ends), "2 mm at 200 mm/s"


def test_hand_thrown_blades_move_and_touch(make_bench: MakeBench, netlist: dict[str, Any]) -> None:
    netlist["drives"]["T9"] = ["left", "right"]
    with make_bench(netlist=netlist) as bench:
        bench.hand("T9", "right", 200)
        bench.advance(50)
        assert bench.query()["drives"]["T9"] == 0
        bench.advance(200)
        assert bench.query()["drives"]["T9"] == 2
        assert [e.facts["touches"] for e in bench.log.of("blade") if e.facts["drive"] == "T9"] == [1, 0, 1]
