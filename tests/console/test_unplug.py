"""The board unplugged and back, restarted, faulty: on links that the test holds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, expect

from frogfeed.board.errors import BoardRefused
from frogfeed.console.railway import Railway
from frogfeed.console.session import Session
from tests.console.conftest import attached, demo_copy, opened, serving, with_links
from tests.console.fake import FakeBoard, FakeLink


def test_unplugged_and_back_in_the_middle_of_a_route(railway: Railway, browser: Browser, tmp_path: Path) -> None:
    board = FakeBoard(railway, "B1")
    with with_links(demo_copy(tmp_path), {"B1": lambda: FakeLink(board)}) as console, opened(browser, console) as page:
        expect(page.locator(".boards li")).to_contain_text("answers")
        page.select_option("#route-from", "harbour-stop")
        page.select_option("#route-to", "wharf")
        page.click("#lay")
        console.wait(lambda: any(d["moving"] for d in console.session.store.section("drives").values()))
        board.plugged = False
        expect(page.locator("#faults")).to_contain_text("the port went away")
        expect(page.locator("#faults")).to_contain_text("plug it in again")
        expect(page.locator('.rail[data-rail="T1.F"]').first).to_have_attribute("data-is", "unknown")
        expect(page.locator('.rail[data-rail="platform.R1"]').first).to_have_attribute("data-is", "a")
        expect(page.locator('.lever[aria-label="T1"] .where')).to_have_text("not reported")
        expect(page.locator(".progress").first).to_contain_text("was not laid")
        page.locator('.lever[aria-label="T1"] button', has_text="right").click()
        expect(page.locator("#notice")).to_contain_text("B1")
        board.plugged = True
        expect(page.locator("#faults")).not_to_contain_text("went away")
        expect(page.locator('.rail[data-rail="T1.F"]').first).to_have_attribute("data-is", "b")
        console.wait(lambda: not any(d["moving"] for d in console.session.store.section("drives").values()))
        page.click("#lay")
        console.wait(lambda: (console.get("route", "now") or {}).get("state") == "laid")


def test_a_trip_is_told_with_cause_and_cure_and_can_be_cleared(
    railway: Railway, browser: Browser, tmp_path: Path
) -> None:
    board = FakeBoard(railway, "B1")
    with with_links(demo_copy(tmp_path), {"B1": lambda: FakeLink(board)}) as console, opened(browser, console) as page:
        with board.lock:
            board.faults["T1.F"] = "trip"
            board.event("trip", feed="T1.F", by="sensor", trips=1)
            board.event("fault", feed="T1.F", why="trip")
        fault = page.locator(".fault.error")
        expect(fault).to_contain_text("T1.F: too much current")
        expect(fault).to_contain_text("Cause")
        expect(fault).to_contain_text("Cure")
        expect(page.locator('.turnout[data-name="T1"]')).to_have_attribute("data-fault", "yes")
        page.select_option("#route-from", "harbour-stop")
        page.select_option("#route-to", "platform")
        page.click("#lay")
        expect(page.locator("#notice")).to_contain_text("T1.F on this route is off with a fault")
        page.click("text=Clear T1.F")
        expect(page.locator(".fault.error")).to_have_count(0)


def test_a_board_with_other_settings_or_none_is_told(railway: Railway, browser: Browser, tmp_path: Path) -> None:
    board = FakeBoard(railway, "B1")
    board.settings = "deadbeef"
    with with_links(demo_copy(tmp_path), {"B1": lambda: FakeLink(board)}) as console, opened(browser, console) as page:
        expect(page.locator("#faults")).to_contain_text("B1 holds other settings")
        page.click("text=Send settings to B1")
        expect(page.locator("#faults")).to_be_empty()
        assert board.settings == railway.documents["B1"][10:18].decode()


def test_a_console_without_a_board_still_shows_and_plans(railway: Railway, browser: Browser, tmp_path: Path) -> None:
    with with_links(demo_copy(tmp_path), {}) as console, opened(browser, console) as page:
        expect(page.locator('.rail[data-rail="platform.R1"]').first).to_have_attribute("data-is", "a")
        expect(page.locator('.rail[data-rail="T1.F"]').first).to_have_attribute("data-is", "unknown")
        page.locator('.lever[aria-label="T1"] button', has_text="right").click()
        expect(page.locator("#notice")).to_contain_text("not connected to this console")
        page.click("#tab-plan")
        expect(page.locator("#plan-count")).to_contain_text("0 errors")


def test_the_console_ended_and_started_again_is_found_by_the_page(
    railway: Railway, browser: Browser, tmp_path: Path
) -> None:
    board = FakeBoard(railway, "B1")
    file = demo_copy(tmp_path)
    with with_links(file, {"B1": lambda: FakeLink(board)}) as console, opened(browser, console) as page:
        console.session.store.put("file", "writable", True)
        expect(page.locator("#file")).to_contain_text("quay.toml")
        with attached(console) as seat:
            seat.ask("throw", drive="T1", to="right")
        expect(page.locator('.lever[aria-label="T1"] .where')).to_have_text("at right")
    assert board.at["T1"] == "right"


def test_a_virtual_board_gets_its_settings_without_being_asked_for_and_a_real_one_does_not(
    railway: Railway, tmp_path: Path
) -> None:
    for sends in (True, False):
        board = FakeBoard(railway, "B1")
        board.settings = None
        file = demo_copy(tmp_path)
        session = Session(file, railway, {"B1": lambda b=board: FakeLink(b)}, sends=sends)
        told: list[str] = []
        put = session.store.put

        def watch(section: str, key: str, value: object, put: Any = put, told: list[str] = told) -> bool:
            if section == "faults" and value is not None:
                told.append(key)
            return bool(put(section, key, value))

        session.store.put = watch  # type: ignore[method-assign]
        with serving(session, file) as console:
            console.wait(lambda c=console: (c.get("boards", "B1") or {}).get("up"))
            if sends:
                console.wait(lambda c=console: c.get("boards", "B1")["matches"])
                assert "settings B1" not in told
            else:
                console.wait(lambda c=console: (c.get("faults", "settings B1") or {}).get("do") == "push")
        assert (board.settings is not None) == sends


def test_a_board_that_refuses_its_settings_at_the_start_is_told(railway: Railway, tmp_path: Path) -> None:
    class Refusing(FakeLink):
        def push(self, document: bytes, layout_text: bytes) -> None:
            raise BoardRefused("push.commit", 8, "flash is worn out", where="fake", cure="")

    board = FakeBoard(railway, "B1")
    board.settings = None
    file = demo_copy(tmp_path)
    session = Session(file, railway, {"B1": lambda: Refusing(board)}, sends=True)
    with serving(session, file) as console:
        console.wait(lambda: any(x["what"] == "settings not sent" for x in console.get("log", "lines") or ()))
        board.event("start")
        console.wait(lambda: console.get("faults", "settings B1"))


def test_a_layout_with_errors_offers_no_settings_that_cannot_be_made(railway: Railway, tmp_path: Path) -> None:
    board = FakeBoard(railway, "B1")
    with with_links(demo_copy(tmp_path), {"B1": lambda: FakeLink(board)}) as console, attached(console) as seat:
        console.wait(lambda: (console.get("boards", "B1") or {}).get("up"))
        number = next(
            n for n, j in enumerate(console.session.railway.network.joints) if (j.a[0], j.b[0]) == ("T1", "platform")
        )
        seat.ask("edit.joint", joint=number, gap="none")
        console.wait(lambda: console.get("faults", "check 0"))
        console.wait(lambda: not console.get("boards", "B1")["matches"])
        assert console.get("faults", "settings B1") is None
        seat.ask("edit.drop")
        console.wait(lambda: console.get("boards", "B1")["matches"])
