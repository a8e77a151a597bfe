"""What a board's firmware would not take is said by the plan, at the place in the file that decides it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from annotated_types import Ge, Gt, Le
from click.testing import CliRunner

from frogboard import settings as document
from frogfeed.checking import all_findings
from frogfeed.cli import main
from frogfeed.findings.codes import CODES
from frogfeed.findings.finding import Severity
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import BadLayout, read_layout_text
from frogfeed.layout.schema import District, Drive
from frogfeed.plan.accepts import settings_findings
from frogfeed.plan.model import PlanRefusedError
from frogfeed.plan.needs import drive_needs, feed_needs
from frogfeed.plan.notes import unread_findings
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings
from frogfeed.plan.trips import TRIP_TIME_SHARE
from frogfeed.track.assembly.assemble import assemble
from tests.plan.make import board, row

TRAVERSER = (
    '[layout]\nname = "Pit"\ngauge = "OO"\ncontrol = "dc"\n[district.main]\n'
    '[piece.X]\nkind = "traverser-3"\n[drive.X]\nkind = "hand"\n'
    + "".join(f'[place.{n}]\nkind = "buffer"\n' for n in ("lead", "r1", "r2", "r3"))
    + '[lines]\nl = ["lead", { feed = "main", left = "A" }, "X.lead"]\n'
    + "".join(
        f'r{n} = ["X.{road}", {{ feed = "main", left = "A" }}, "r{n}"]\n'
        for n, road in enumerate(("one", "two", "three"), 1)
    )
)


def limits(table: type[Drive] | type[District], key: str) -> tuple[float, float]:
    """The least and the most that a key of the layout file takes."""
    held = table.model_fields[key].metadata
    low = next(m.ge if isinstance(m, Ge) else m.gt for m in held if isinstance(m, Ge | Gt))
    high = next(m.le for m in held if isinstance(m, Le))
    assert isinstance(low, int | float)
    assert isinstance(high, int | float)
    return float(low), float(high)


def field(fields: tuple[document.Field, ...], key: str) -> document.Field:
    return next(f for f in fields if f.key == key)


def test_the_file_takes_no_time_that_the_firmware_refuses() -> None:
    for key, fields in (("travel_ms", document.DRIVE), ("lag_ms", document.DRIVE), ("debounce_ms", document.INPUT)):
        low, high = limits(Drive, key)
        held = field(fields, key)
        assert held.low <= low, key
        assert high <= held.high, key
    _, high = limits(District, "trip_ms")
    assert high * TRIP_TIME_SHARE <= field(document.SENSOR, "trip_ms").high


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ("[drive.T1]", "travel_ms = 40000"),
        ("[drive.T1]", "travel_ms = 60"),
        ("[drive.T1]", "lag_ms = 8000"),
        ("[drive.T1]", "debounce_ms = 50000"),
        ("[district.spare]", "trip_ms = 60000"),
    ],
)
def test_a_time_beyond_the_firmware_is_a_mistake_in_the_file(table: str, line: str) -> None:
    with pytest.raises(BadLayout) as bad:
        row(1, f"{table}\n{line}\n")
    assert [f.code for f in bad.value.findings] == ["file-out-of-range"]


@pytest.mark.parametrize("name", ["travel_ms", "lag_ms"])
def test_what_the_firmware_refuses_is_found_where_the_file_says_it(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    layout = row(1, board("B1", "direct-relay") + f"[drive.T1]\n{name} = 700\n")
    network = assemble(layout)
    plan = make_plan(layout, network)
    assert list(settings_findings(layout, plan)) == []
    tight = tuple(
        document.Field(f.key, f.kind, 0, 600, f.meaning, f.default) if f.key == name else f for f in document.DRIVE
    )
    drives = field(document.SETTINGS, "drives")
    monkeypatch.setattr(drives, "of", tight)
    with pytest.raises(PlanRefusedError) as refused:
        make_plan(layout, network)
    (found,) = (f for f in refused.value.findings if f.severity is Severity.ERROR)
    assert found.code == "settings-refused"
    assert found.code in CODES
    assert found.subject == "T1"
    assert "700 is more than 600" in found.what
    assert found.where == layout.at("drive", "T1", name)
    assert found in tuple(all_findings(layout, network))


def test_a_refused_sensor_or_contact_is_told_of_its_district_or_drive(monkeypatch: pytest.MonkeyPatch) -> None:
    layout = row(1, board("B1", "direct-relay") + '[drive.T1]\nkind = "hand"\ndebounce_ms = 300\n')
    network = assemble(layout)
    plan = make_plan(layout, network)
    monkeypatch.setattr(field(document.INPUT, "debounce_ms"), "high", 200)
    (found,) = settings_findings(layout, plan)
    assert (found.subject, found.where) == ("T1", layout.at("drive", "T1", "debounce_ms"))
    monkeypatch.undo()
    sensed = next(f for b in plan.boards for f in b.feeds)
    assert sensed.sensor is not None
    monkeypatch.setattr(field(document.SENSOR, "trip_ms"), "high", 5)
    (found,) = settings_findings(layout, plan)
    assert found.subject == "main"
    assert found.where is not None
    monkeypatch.undo()
    monkeypatch.setattr(document, "MAX_BYTES", 100)
    (found,) = settings_findings(layout, plan)
    assert (found.subject, found.where) == ("B1", layout.at("board", "B1"))


def test_a_traverser_moved_by_hand_is_left_off_the_boards() -> None:
    layout = read_layout_text(TRAVERSER, "pit.toml")
    network = assemble(layout)
    plan = make_plan(layout, network)
    (note,) = (f for f in plan.findings if f.code == "plan-hand-unread")
    assert note.severity is Severity.NOTE
    assert note.where == layout.at("drive", "X")
    assert "X" not in {d.need.name for b in plan.boards for d in b.drives}
    assert plan.channels() == {}
    assert build_settings(layout, plan) == {}
    assert not [f for f in all_findings(layout, network) if f.severity is Severity.ERROR]


@pytest.mark.parametrize("words", [["build"], ["push"], ["bench"]])
def test_a_layout_without_work_for_a_board_ends_in_words(words: list[str], tmp_path: Path) -> None:
    file = tmp_path / "pit.toml"
    file.write_text(TRAVERSER, encoding="utf-8")
    done = CliRunner().invoke(main, [*words, str(file)])
    assert (done.exit_code, done.exception.__class__) == (1, SystemExit)
    assert "No board has anything to do" in done.output


def test_a_feed_that_follows_three_settings_is_refused() -> None:
    layout: Layout = row(1)
    network = assemble(layout)
    needs = drive_needs(layout, network)
    three = [replace(d, hand=True, settings=("one", "two", "three")) for d in needs]
    (found,) = unread_findings(three, feed_needs(layout, network))
    assert (found.code, found.severity) == ("plan-hand-settings", Severity.ERROR)
    assert "T1.F" in found.what
    assert not unread_findings(needs, feed_needs(layout, network))
