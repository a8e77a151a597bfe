"""Sixty turnouts moving at once, and how long a throw takes to show: measured and told, not bounded."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from frogfeed.console.railway import railway_of
from frogfeed.layout.reading import read_layout
from tests.console.conftest import LONG_S, Console, opened, with_links, yard
from tests.console.fake import FakeBoard, FakeLink

SECONDS = 5.0

COUNT = """
() => new Promise((done) => {
  const began = performance.now();
  let frames = 0;
  const step = () => {
    frames += 1;
    const gone = performance.now() - began;
    if (gone < %d) requestAnimationFrame(step);
    else done(frames / gone * 1000);
  };
  requestAnimationFrame(step);
})
""" % round(1000 * SECONDS)  # noqa: UP031 - braces are the script's own


@pytest.fixture(scope="module")
def sixty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Console, list[FakeBoard]]]:
    file = tmp_path_factory.mktemp("yard") / "yard.toml"
    file.write_text(yard(60), encoding="utf-8")
    railway = railway_of(read_layout(file))
    boards = [FakeBoard(railway, name) for name in railway.documents]
    links = {b.name: (lambda b=b: FakeLink(b, at_once=True)) for b in boards}
    with with_links(file, links, railway) as console:
        console.wait(lambda: all((console.get("boards", b.name) or {}).get("up") for b in boards))
        yield console, boards


def keep_moving(boards: list[FakeBoard]) -> None:
    for b in boards:
        with b.lock:
            for d in b.plans:
                if d not in b.going:
                    b.command(d, "left" if b.at[d] == "right" else "right")


def test_sixty_moving_turnouts_are_drawn_as_they_move(
    sixty: tuple[Console, list[FakeBoard]], browser: Browser, record_property: Any
) -> None:
    console, boards = sixty
    with opened(browser, console) as page:
        page.click("#fit")
        cdp = page.context.new_cdp_session(page)
        cdp.send("Performance.enable")
        keep_moving(boards)
        page.wait_for_timeout(500)
        before, cpu, wall = metrics(cdp), time.process_time(), time.perf_counter()
        version = console.session.store.version
        messages = page.evaluate("() => Number(document.body.dataset.version)")
        handle = page.evaluate_handle(f"() => {{ window.counted = ({COUNT})(); }}")
        end = time.perf_counter() + SECONDS
        while time.perf_counter() < end:
            keep_moving(boards)
            page.wait_for_timeout(100)
        frames = page.evaluate("() => window.counted")
        handle.dispose()
        took = time.perf_counter() - wall
        after = metrics(cdp)
        updates = (page.evaluate("() => Number(document.body.dataset.version)") - messages) / took
        found = {
            "updates_per_s": round(updates, 1),
            "frames_per_s": round(frames, 1),
            "page_busy": round((after["TaskDuration"] - before["TaskDuration"]) / took, 2),
            "page_script": round((after["ScriptDuration"] - before["ScriptDuration"]) / took, 2),
            "console_cpu": round((time.process_time() - cpu) / took, 2),
            "entries_per_s": round((console.session.store.version - version) / took),
        }
        record_property("sixty", json.dumps(found))
        print("sixty turnouts:", found)
        assert updates > 0 and frames > 0, "the page keeps drawing"
        moved = page.locator(".lever").evaluate_all("es => es.filter(e => e.dataset.state !== 'unknown').length")
        assert moved == 60


def metrics(cdp: Any) -> dict[str, float]:
    return {m["name"]: m["value"] for m in cdp.send("Performance.getMetrics")["metrics"]}


WATCH = """
() => { window.seen = new Promise((done) => {
  const blade = document.querySelector('.rail[data-rail="T1.BR"] .base');
  const began = performance.now();
  const told = () => done([performance.now() - began, performance.timeOrigin + performance.now()]);
  new MutationObserver(told).observe(blade, {
    attributes: true, attributeFilter: ["d"],
  });
  document.querySelector('.turnout[data-name="T1"] .hit').dispatchEvent(new MouseEvent("click", { bubbles: true }));
}); }
"""


def test_a_throw_shows_after_the_board_reports_it(console: Console, browser: Browser, record_property: Any) -> None:
    """On the virtual board in real time: from the press to the first movement drawn, beside the link's own times."""
    assert console.bench is not None
    drawn, own = [], []
    store = console.session.store
    with opened(browser, console) as page:
        for _ in range(4):
            drive = console.get("drives", "T1")
            to, stood = ("right" if drive["at"] == "left" else "left"), drive["pos"]
            page.evaluate(WATCH)
            end = time.monotonic() + LONG_S
            while (store.get("drives", "T1") or {})["pos"] in (stood, None) and time.monotonic() < end:
                time.sleep(0.001)
            reported = 1000 * time.time()
            took, at = page.evaluate("() => window.seen")
            drawn.append(took)
            own.append(at - reported)
            console.wait(lambda t=to: console.at_rest("T1", t))
    told = {
        "press_to_drawn_ms": round(sorted(drawn)[1]),
        "of_that_from_report_to_drawing_ms": round(sorted(own)[1]),
        "link_answers_in_ms": round(sorted(link_times(console))[2]),
    }
    record_property("latency", json.dumps(told))
    print("latency:", told)
    assert len(drawn) == 4


def link_times(console: Console) -> list[float]:
    """How long the board takes to answer one request over its port, asked through its owner."""
    owner, found = console.session.owners["B1"], []
    for _ in range(5):

        def ask(link: Any) -> float:
            began = time.perf_counter()
            link.drives(0)
            return 1000 * (time.perf_counter() - began)

        found.append(owner.call(ask).result(LONG_S))
    return found


def test_the_whole_yard_reaches_a_page_in_one_go(sixty: tuple[Console, list[FakeBoard]], browser: Browser) -> None:
    console, _ = sixty
    began = time.perf_counter()
    with opened(browser, console) as page:
        took = time.perf_counter() - began
        assert page.locator(".turnout").count() == 60
        assert page.locator(".lever").count() == 60
        assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    print(f"sixty turnouts drawn {took:.2f} s after the page was asked for")


def test_every_turnout_of_the_yard_can_be_scrolled_to(
    sixty: tuple[Console, list[FakeBoard]], browser: Browser, tmp_path: Path
) -> None:
    console, _ = sixty
    with opened(browser, console, 390, 844) as page:
        last: Page = page
        last.locator('.turnout[data-name="T60"]').scroll_into_view_if_needed()
        box = last.locator('.turnout[data-name="T60"] .hit').bounding_box()
        assert box is not None
        assert 0 <= box["x"] < 390 and 0 <= box["y"] < 844
        page.screenshot(path=tmp_path / "yard.png")
