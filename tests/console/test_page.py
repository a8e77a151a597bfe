"""The page in a browser against the virtual board in real time: everything a person does with it."""

from __future__ import annotations

import json
import re
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.console.conftest import LONG_S, Console, attached, opened

VIEWS = ("railway", "trim", "prove", "hunt", "plan")


@pytest.fixture
def page(browser: Browser, console: Console) -> Iterator[Page]:
    with opened(browser, console) as found:
        yield found


def throw_home(console: Console, *drives: str) -> None:
    """Bring drives to their first setting, however they stand."""
    with attached(console) as seat:
        seat.ask("lay.stop")
        for drive in drives or ("T1", "T2", "crossover", "T5", "T6"):
            if not console.at_rest(drive, "left"):
                seat.ask("throw", drive=drive, to="left")
                console.wait(lambda d=drive: console.at_rest(d, "left"))


def blade(page: Page, rail: str) -> str:
    found = page.locator(f'.rail[data-rail="{rail}"] .base').first.get_attribute("d")
    assert found is not None
    return found


def until(page: Page, look: Callable[[], Any], wanted: Any) -> None:
    """Look at the page again and again until it shows what is wanted."""
    end = time.monotonic() + LONG_S
    while (seen := look()) != wanted and time.monotonic() < end:
        page.wait_for_timeout(50)
    assert seen == wanted


def polarity(page: Page, rail: str) -> str | None:
    return page.locator(f'.rail[data-rail="{rail}"]').first.get_attribute("data-is")


RECORD = """
() => {
  window.places = [];
  window.polarities = [];
  const blade = document.querySelector('.rail[data-rail="T1.BR"] .base');
  const frog = document.querySelector('.rail[data-rail="T1.F"]');
  const watch = (e, name, kept) =>
    new MutationObserver(() => kept.push(e.getAttribute(name))).observe(e, { attributeFilter: [name] });
  watch(blade, "d", window.places);
  watch(frog, "data-is", window.polarities);
}
"""


# ---- see and throw --------------------------------------------------------------------------------------


def test_a_click_throws_and_blades_and_frog_follow_the_board(console: Console, page: Page) -> None:
    throw_home(console)
    expect(page.locator('.rail[data-rail="T1.F"]').first).to_have_attribute("data-is", "b")
    shut = blade(page, "T1.BR")
    page.evaluate(RECORD)
    page.locator('.turnout[data-name="T1"] .hit').click()
    console.wait(lambda: console.at_rest("T1", "right"))
    expect(page.locator('.rail[data-rail="T1.F"]').first).to_have_attribute("data-is", "a")
    expect(page.locator('.lever[aria-label="T1"] .where')).to_have_text("at right")
    places, polarities = page.evaluate("() => [window.places, window.polarities]")
    assert len(set(places)) >= 3, "the blade did not move in steps"
    polarities = [p for n, p in enumerate(polarities) if n == 0 or p != polarities[n - 1]]
    assert polarities in (["dead", "a"], ["a"]), "between its wires the frog is off, for less than a frame"
    assert blade(page, "T1.BR") != shut
    expect(page.locator('.lever[aria-label="T1"] button[aria-pressed="true"]')).to_have_text("right")
    assert console.bench is not None
    assert console.bench.wire_of("T1.F") == "main.A"


def test_all_rails_are_drawn_as_the_bench_feeds_them(console: Console, page: Page) -> None:
    """At rest, at several settings, the page's polarity of every rail is the physical one."""
    throw_home(console)
    assert console.bench is not None
    for drive, to in (("crossover", "right"), ("T5", "right"), ("T6", "right"), ("T2", "right")):
        page.locator(f'.lever[aria-label^="{drive}"] button', has_text=to).click()
        console.wait(lambda d=drive, t=to: console.at_rest(d, t))
        wanted = {}
        for rail in console.session.railway.network.rails:
            wire = console.bench.wire_of(rail)
            wanted[rail] = "dead" if wire is None else "a" if str(wire).endswith(".A") else "b"
        until(page, lambda w=wanted: {r: polarity(page, r) for r in w}, wanted)
    throw_home(console)


def test_touch_and_keyboard_throw_too(console: Console, browser: Browser) -> None:
    throw_home(console, "T1", "T2")
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    try:
        page = context.new_page()
        page.goto(console.served.operator)
        page.wait_for_selector("svg .rail[data-is]", state="attached")
        page.locator('.turnout[data-name="T1"] .hit').tap()
        console.wait(lambda: console.at_rest("T1", "right"))
        page.locator('.turnout[data-name="T2"]').focus()
        page.keyboard.press("Enter")
        console.wait(lambda: console.at_rest("T2", "right"))
        page.locator('.turnout[data-name="T2"]').focus()
        page.keyboard.press("Space")
        console.wait(lambda: console.at_rest("T2", "left"))
    finally:
        context.close()
    throw_home(console, "T1")


def test_everything_can_be_reached_with_the_keyboard_alone(console: Console, page: Page) -> None:
    throw_home(console)
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    seen: list[str] = []
    for _ in range(80):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                "() => { const e = document.activeElement;"
                " return e.id || e.dataset?.name || e.getAttribute('aria-label') || e.textContent }"
            )
        )
        if seen[-1] in seen[:-1] or seen[-1] == "":
            break
    for wanted in ("all-off", "tab-railway", "canvas", "fit", "T1", "T5", "platform", "route-from", "route-to", "lay"):
        assert wanted in seen, (wanted, seen)
    page.locator("#tab-railway").focus()
    for name in VIEWS[1:]:
        page.keyboard.press("ArrowRight")
        expect(page.locator(f"#view-{name}")).to_be_visible()
    page.keyboard.press("Home")
    expect(page.locator("#view-railway")).to_be_visible()
    outline = page.locator("#lay")
    outline.focus()
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Tab")
    assert outline.evaluate("e => getComputedStyle(e).outlineStyle") != "none"


def test_a_route_is_laid_one_drive_at_a_time(console: Console, page: Page) -> None:
    throw_home(console)
    page.locator('.place[data-name="harbour-stop"] .hit').click()
    page.locator('.place[data-name="wharf"] .hit').click()
    expect(page.locator("#route-from")).to_have_value("harbour-stop")
    expect(page.locator("#route-to")).to_have_value("wharf")
    page.click("#lay")
    moving = []
    end = time.monotonic() + LONG_S
    while time.monotonic() < end:
        now = [d for d, s in console.session.store.section("drives").items() if s["moving"]]
        assert len(now) <= 1, now
        moving += [d for d in now if d not in moving]
        if (console.get("route", "now") or {}).get("state") == "laid":
            break
        page.wait_for_timeout(20)
    assert set(moving) == {"T2", "crossover"}
    expect(page.locator(".progress").first).to_contain_text("harbour-stop to wharf lies")
    assert page.locator(".band.laid").count() > 8
    page.click("#lay-stop")
    expect(page.locator(".band")).to_have_count(0)


def test_refusals_say_what_why_and_what_to_do(console: Console, page: Page) -> None:
    throw_home(console)
    page.select_option("#route-from", "fiddle-1")
    page.select_option("#route-to", "fiddle-2")
    page.click("#lay")
    expect(page.locator("#notice")).to_contain_text("without turning back")
    expect(page.locator("#notice")).to_contain_text("What to do")
    page.keyboard.press("Escape")
    expect(page.locator("#notice")).to_be_hidden()
    page.select_option("#route-from", "harbour-stop")
    page.click("#lay")
    expect(page.locator("#notice")).to_contain_text("D7 to right")


def test_a_hand_thrown_turnout_is_followed(console: Console, page: Page) -> None:
    assert console.bench is not None
    console.bench.hand("D7", "right")
    expect(page.locator('.lever[aria-label^="D7"] .where')).to_contain_text("at right, by hand")
    console.bench.hand("D7", "left")
    expect(page.locator('.lever[aria-label^="D7"] .where')).to_contain_text("at left, by hand")


def test_all_feeds_off_and_on_again(console: Console, page: Page) -> None:
    throw_home(console)
    page.click("#all-off")
    for frog in ("T1.F", "T2.F", "T3.F", "T4.F"):
        expect(page.locator(f'.rail[data-rail="{frog}"]').first).to_have_attribute("data-is", "dead")
    expect(page.locator("#all-off")).to_have_text("Feeds on again")
    page.click("#all-off")
    expect(page.locator('.rail[data-rail="T1.F"]').first).to_have_attribute("data-is", "b")


def test_polarity_is_not_told_by_colour_alone(console: Console, page: Page) -> None:
    throw_home(console)
    letters = page.locator(".badge").evaluate_all(
        "es => es.map(e => [e.dataset.is, e.querySelector('text').textContent])"
    )
    assert {tuple(x) for x in letters} >= {("a", "A"), ("b", "B")}
    assert all({"a": "A", "b": "B", "dead": "–", "unknown": "?", "short": "!"}[i] == t for i, t in letters)

    def style(rail: str) -> list[str]:
        return page.locator(f'.rail[data-rail="{rail}"] .core').first.evaluate(
            "e => { const s = getComputedStyle(e); return [s.stroke, s.strokeDasharray] }"
        )

    assert style("platform.R1")[0] == "none"
    assert style("platform.R2")[1] != "none"
    dead = page.locator('.rail[data-rail="yard-stop.R1"] .base').first.evaluate(
        "e => getComputedStyle(e).strokeDasharray"
    )
    assert dead != "none"


# ---- several pages, reload, unplug ----------------------------------------------------------------------


def test_two_pages_and_a_terminal_see_the_same(console: Console, browser: Browser, page: Page) -> None:
    throw_home(console)
    with opened(browser, console, 390, 844) as phone, attached(console) as seat:
        page.locator('.lever[aria-label="T6"] button', has_text="right").click()
        expect(phone.locator('.lever[aria-label="T6"] .where')).to_have_text("at right")
        console.wait(lambda: (seat.get("drives", "T6") or {}).get("at") == "right")
        seat.ask("throw", drive="T6", to="left")
        expect(page.locator('.lever[aria-label="T6"] .where')).to_have_text("at left")
        expect(phone.locator('.lever[aria-label="T6"] .where')).to_have_text("at left")
        rails = "es => es.map(e => [e.dataset.rail, e.dataset.is])"
        until(phone, lambda: phone.locator(".rail").evaluate_all(rails), page.locator(".rail").evaluate_all(rails))


def test_reloading_in_the_middle_of_a_throw_shows_what_is(console: Console, page: Page) -> None:
    throw_home(console)
    page.locator('.turnout[data-name="T5"] .hit').click()
    console.wait(lambda: console.get("drives", "T5")["moving"])
    page.reload()
    page.wait_for_selector("svg .rail[data-is]", state="attached")
    expect(page.locator('.lever[aria-label="T5"] .where')).to_have_text("at right")
    assert page.url.endswith("/#railway") or "key=" not in page.url
    throw_home(console, "T5")


def test_a_visitor_looks_and_cannot_touch(console: Console, browser: Browser) -> None:
    throw_home(console, "T1")
    with opened(browser, console, address=console.served.visitor) as page:
        expect(page.locator("#file")).to_contain_text("visitor")
        expect(page.locator("#all-off")).to_be_disabled()
        assert page.locator(".lever button:enabled").count() == 0
        page.locator('.turnout[data-name="T1"] .hit').click()
        page.wait_for_timeout(500)
        assert console.at_rest("T1", "left")
        for name in VIEWS:
            page.click(f"#tab-{name}")
            enabled = page.locator(f"#view-{name} button:enabled").all_inner_texts()
            assert not [b for b in enabled if b not in ("Print the record",)], (name, enabled)


# ---- trim, prove, plan, hunt ----------------------------------------------------------------------------


def test_trim_moves_the_end_shows_the_window_and_saves_with_comments(console: Console, page: Page) -> None:
    throw_home(console)
    before = console.file.read_text(encoding="utf-8")
    page.click("#tab-trim")
    page.select_option("#trim-drive", "crossover")
    expect(page.locator("#trim-pulse-left")).to_have_text("1200 µs")
    expect(page.locator(".curve .free")).to_have_count(1)
    page.click("#trim-left-5")
    expect(page.locator("#trim-pulse-left")).to_have_text("1195 µs")
    expect(page.locator("#trim-left-5")).to_be_focused()
    page.click("#trim-left20")
    expect(page.locator("#trim-pulse-left")).to_have_text("1215 µs")
    assert console.bench is not None
    console.wait(lambda: (console.get("drives", "crossover") or {})["pulse"] == 1215)
    page.click("#trim-save")
    expect(page.locator("#trim-said")).to_contain_text("Saved")
    after = console.file.read_text(encoding="utf-8")
    assert tomllib.loads(after)["drive"]["crossover"]["pulse_us"] == {"left": 1215, "right": 1800}
    comments = [line for line in before.splitlines() if line.strip().startswith("#")]
    assert [line for line in after.splitlines() if line.strip().startswith("#")] == comments
    assert len(set(after.splitlines()) ^ set(before.splitlines())) == 2
    expect(page.locator("#faults")).to_contain_text("other settings")
    page.click("text=Send settings to B1")
    expect(page.locator("#faults")).not_to_contain_text("other settings")
    assert console.get("drives", "crossover")["ends"] == (1215, 1800)


def test_a_speed_is_tried_on_the_board(console: Console, page: Page) -> None:
    page.click("#tab-trim")
    page.select_option("#trim-drive", "T6")
    expect(page.locator(".curve")).to_have_attribute("aria-label", re.compile("of T6"))
    page.fill("#trim-speed", "600")
    with attached(console) as seat:
        seat.ask("throw", drive="T6", to="left")
        console.wait(lambda: console.at_rest("T6", "left"))
        seat.ask("trim", drive="T6", setting="left", pulse_us=console.get("drives", "T6")["ends"][0] + 1)
    expect(page.locator("#trim-pulse-left")).to_have_text(f"{console.get('drives', 'T6')['ends'][0]} µs")
    expect(page.locator("#trim-speed")).to_have_value("600")
    page.click("#trim-try")
    console.wait(lambda: console.get("file", "dirty"))
    crc = console.session.railway.documents["B1"][10:18].decode()
    console.wait(lambda: console.get("boards", "B1")["settings"] == crc)
    page.click("#trim-go-right")
    console.wait(lambda: console.at_rest("T6", "right"))
    page.click("#trim-go-left")
    console.wait(lambda: console.at_rest("T6", "left"))
    motion = console.session.railway.drives["T6"][1].motion
    assert motion is not None and motion.travel_ms == 600.0
    page.click("#trim-save")
    expect(page.locator("#trim-said")).to_contain_text("Saved")
    assert tomllib.loads(console.file.read_text(encoding="utf-8"))["drive"]["T6"]["travel_ms"] == 600.0
    console.wait(lambda: console.get("file", "dirty") is False)


def test_a_pulse_beyond_the_servo_is_refused(console: Console, page: Page) -> None:
    with attached(console) as seat:
        from frogfeed.console.refusals import RefusedError

        with pytest.raises(RefusedError, match="outside the servo's range"):
            seat.ask("trim", drive="T1", setting="left", pulse_us=500)
        with pytest.raises(RefusedError, match="by hand"):
            seat.ask("trim.show", drive="D7")


def test_a_proof_runs_asks_for_the_meter_and_is_kept(console: Console, page: Page) -> None:
    assert console.bench is not None
    throw_home(console)
    with attached(console) as seat:
        seat.ask("push", board="B1")
    page.click("#tab-prove")
    page.fill("#prove-by", "Wren")
    page.click("#prove-start")
    wrong = 0
    handed = set()
    end = time.monotonic() + 10 * LONG_S
    while time.monotonic() < end:
        proof = console.get("proof", "now")
        if proof and proof["state"] == "ended":
            break
        if proof and proof["state"] == "asking":
            step = next(s for s in proof["steps"] if s[0] == proof["step"])
            if proof["by_hand"]:
                if proof["by_hand"] not in handed:
                    handed.add(proof["by_hand"])
                    console.bench.hand("D7", re.search(r"to (\w+)", proof["by_hand"]).group(1))  # type: ignore[union-attr]
            elif page.locator(".ask .big").inner_text() == step[2]:
                say = step[3]
                if step[0] == "meter 3":
                    say, wrong = ("open" if say == "closed" else "closed"), wrong + 1
                page.locator(".ask button", has_text=f"It reads {say}").click()
                console.wait(lambda p=proof: console.get("proof", "now") != p)
        page.wait_for_timeout(20)
    assert wrong == 1
    expect(page.locator("#prove-state")).to_contain_text("failed")
    records = list(console.file.parent.glob("quay.proof-*.json"))
    assert len(records) == 1
    record = json.loads(records[0].read_text(encoding="utf-8"))
    assert record["by"] == "Wren"
    assert record["layout_hash"] == console.session.railway.layout.hash
    assert record["boards"]["B1"]["firmware"] and record["boards"]["B1"]["settings"]
    results = {s["name"]: s["result"] for s in record["steps"]}
    told = [s for s in record["steps"] if s["result"] == "fail"]
    assert results.pop("meter 3") == "fail"
    assert set(results.values()) == {"pass"}, [(s["name"], s["found"]) for s in told]
    page.emulate_media(media="print")
    expect(page.locator(".tabs")).to_be_hidden()
    expect(page.locator(".steps-table")).to_be_visible()
    page.emulate_media(media="screen")


def test_a_fault_is_narrowed_down(console: Console, page: Page) -> None:
    throw_home(console)
    page.click("#tab-hunt")
    page.locator('.rail[data-rail="fiddle-1.R2"] .touch').first.click(force=True)
    expect(page.locator("#hunt-rail")).to_have_value("fiddle-1.R2")
    page.click("#hunt-start")
    expect(page.locator(".suspects li")).to_have_count(4)
    expect(page.locator(".way-list li").first).to_contain_text("main-east.R2")
    expect(page.locator(".ask .big")).to_have_text("main.B ↔ T7.SR")
    page.click("#hunt-closed")
    expect(page.locator(".suspects li")).to_have_count(2)
    expect(page.locator("table", has_text="If all is well").locator("tbody tr")).to_have_count(1)
    while len((hunt := console.get("hunt", "now"))["suspects"]) > 1:
        asked = hunt["next"]
        expect(page.locator(".ask .big")).to_have_text(f"{asked['a']} ↔ {asked['b']}")
        expect(page.locator("table", has_text="If all is well").locator("tbody tr")).to_have_count(
            len(hunt["readings"])
        )
        page.click("#hunt-open")
        console.wait(lambda b=hunt: console.get("hunt", "now") != b)
    expect(page.locator(".suspects li")).to_have_count(1)
    expect(page.locator("#hunt-count")).to_have_text("One fault is left.")
    page.click("#hunt-stop")
    expect(page.locator(".suspects li")).to_have_count(0)


def test_the_plan_is_changed_checked_and_saved(console: Console, page: Page) -> None:
    before = console.file.read_text(encoding="utf-8")
    page.click("#tab-plan")
    number = next(
        n for n, j in enumerate(console.session.railway.network.joints) if (j.a[0], j.b[0]) == ("T1", "platform")
    )
    spot = page.locator(f'.joint-touch[data-joint="{number}"]').evaluate(
        "e => { const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2] }"
    )
    page.mouse.click(*spot)
    expect(page.locator("#plan-joint")).to_have_value(str(number))
    page.check("input[name=choice-gap][value=none]")
    expect(page.locator("#plan-count")).to_contain_text("1 error")
    expect(page.locator(".findings")).to_contain_text("main.B and main.A are joined when T1 is right")
    assert console.file.read_text(encoding="utf-8") == before
    page.click("#plan-undo")
    expect(page.locator("#plan-count")).to_contain_text("0 errors")
    page.select_option("#plan-piece", "T6")
    page.check("input[name=choice-blades][value=bonded]")
    expect(page.locator("#plan-save")).to_be_enabled()
    page.click("#plan-save")
    expect(page.locator("#plan-save")).to_be_disabled()
    after = console.file.read_text(encoding="utf-8")
    assert tomllib.loads(after)["turnout"]["T6"]["blades"] == "bonded"
    assert set(before.splitlines()) <= set(after.splitlines())
    page.check("input[name=choice-blades][value=contact]")
    expect(page.locator("#plan-save")).to_be_enabled()
    page.click("#plan-save")
    expect(page.locator("#plan-save")).to_be_disabled()


def test_a_file_changed_elsewhere_is_not_overwritten(console: Console, page: Page) -> None:
    page.click("#tab-plan")
    page.select_option("#plan-piece", "T6")
    page.check("input[name=choice-blades][value=bonded]")
    expect(page.locator("#plan-save")).to_be_enabled()
    kept = console.file.read_text(encoding="utf-8")
    console.file.write_text(kept + "# written by hand\n", encoding="utf-8")
    page.click("#plan-save")
    expect(page.locator("#notice")).to_contain_text("changed by something else")
    assert console.file.read_text(encoding="utf-8").endswith("# written by hand\n")
    console.file.write_text(kept, encoding="utf-8")
    page.click("#plan-drop")
    expect(page.locator("#plan-drop")).to_be_disabled()


# ---- widths and accessibility ---------------------------------------------------------------------------


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("view", VIEWS)
def test_nothing_overflows_and_axe_is_content(
    console: Console, browser: Browser, width: int, view: str, tmp_path: Path
) -> None:
    with opened(browser, console, width, 844) as page:
        page.click(f"#tab-{view}")
        page.wait_for_timeout(300)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        small = page.locator("button:visible, select:visible").evaluate_all(
            "es => es.filter(e => { const r = e.getBoundingClientRect(); return r.width < 24 || r.height < 24 })"
            ".map(e => e.outerHTML)"
        )
        assert not small, small
        result = Axe().run(page)
        serious = [v for v in result.response["violations"] if v["impact"] in ("serious", "critical")]
        told = [(v["id"], [n["html"] for n in v["nodes"]][:3]) for v in serious]
        assert not told, [(s["name"], s["found"]) for s in told]
        page.screenshot(path=tmp_path / f"{view}-{width}.png", full_page=True)


NAMES_ON_RAILS = """
() => {
  const hits = [];
  const rails = [...document.querySelectorAll(".rail .base")];
  for (const text of document.querySelectorAll(".names text")) {
    const b = text.getBBox();
    for (const rail of rails) {
      const whole = rail.getTotalLength();
      for (let s = 0; s <= whole; s += 3) {
        const p = rail.getPointAtLength(s);
        if (p.x > b.x && p.x < b.x + b.width && p.y > b.y && p.y < b.y + b.height) {
          hits.push([text.textContent, rail.parentElement.dataset.rail]);
          break;
        }
      }
    }
  }
  return hits;
}
"""


@pytest.mark.parametrize("width", [390, 1280])
def test_no_name_lies_on_a_rail_as_the_browser_draws_it(console: Console, browser: Browser, width: int) -> None:
    with opened(browser, console, width, 844) as page:
        assert page.locator(".names text").count() > 10
        assert page.evaluate(NAMES_ON_RAILS) == []


# ---- what stays when the layout is drawn anew -----------------------------------------------------------


def redraw(console: Console, page: Page) -> None:
    """Another page changes the plan and takes it back: every page draws the layout anew, twice."""
    with attached(console) as seat:
        for what in (
            {"name": "edit.piece", "piece": "T6", "key": "blades", "value": "bonded"}, {"name": "edit.drop"}
        ):  # fmt: skip
            page.evaluate("() => document.querySelector('#canvas svg').dataset.old = 'yes'")
            seat.ask(**what)
            expect(page.locator("#canvas svg:not([data-old])")).to_have_count(1)


def test_choices_words_and_the_keyboards_place_outlive_a_new_drawing(console: Console, page: Page) -> None:
    throw_home(console)
    page.select_option("#route-from", "harbour-stop")
    page.select_option("#route-to", "platform")
    page.click("#lay")
    words = page.locator("#view-railway .progress")
    expect(words).to_contain_text("harbour-stop to platform lies")
    page.locator("#throw-T1-left").focus()
    redraw(console, page)
    expect(page.locator("#route-from")).to_have_value("harbour-stop")
    expect(page.locator("#route-to")).to_have_value("platform")
    expect(words).to_contain_text("harbour-stop to platform lies")
    expect(page.locator("#throw-T1-left")).to_be_focused()
    assert page.locator(".band.laid").count() > 2
    page.click("#lay-stop")
    expect(page.locator("#lay-stop")).to_be_hidden()

    page.click("#tab-hunt")
    page.select_option("#hunt-rail", "fiddle-1.R2")
    page.select_option("#hunt-trouble", "crossing")
    page.click("#hunt-start")
    expect(page.locator("#hunt-count")).not_to_be_empty()
    before = page.locator("#hunt-count").inner_text()
    redraw(console, page)
    expect(page.locator("#hunt-count")).to_have_text(before)
    expect(page.locator("#hunt-rail")).to_have_value("fiddle-1.R2")
    expect(page.locator("#hunt-trouble")).to_have_value("crossing")
    assert page.locator('.rail[data-rail="fiddle-1.R2"][data-picked]').count() > 0
    page.click("#hunt-stop")
    expect(page.locator("#hunt-empty")).to_be_visible()

    page.click("#tab-plan")
    page.select_option("#plan-side", "after")
    page.select_option("#plan-piece", "T6")
    page.locator("#choice-blades-contact").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#plan-said")).to_have_text("Changed here and checked; not saved yet.")
    expect(page.locator("#plan-undo")).to_be_enabled()
    expect(page.locator("#choice-blades-bonded")).to_be_focused()
    page.click("#plan-drop")
    expect(page.locator("#plan-said")).to_have_text("The page shows the file as it is saved.")
    redraw(console, page)
    expect(page.locator("#plan-said")).to_have_text("The page shows the file as it is saved.")
    expect(page.locator("#plan-side")).to_have_value("after")
    expect(page.locator("#plan-piece")).to_have_value("T6")

    page.click("#tab-prove")
    page.uncheck("#prove-meter")
    page.fill("#prove-by", "Tern")
    page.click("#prove-start")
    expect(page.locator(".ask .big")).to_have_text("throw D7 to right by hand")
    page.click("#prove-skip")
    expect(page.locator("#prove-state")).to_contain_text("The proof")
    said = page.locator("#prove-state").inner_text()
    redraw(console, page)
    expect(page.locator("#prove-state")).to_have_text(said)
    expect(page.locator("#prove-by")).to_have_value("Tern")
    expect(page.locator("#prove-meter")).not_to_be_checked()
    for record in console.file.parent.glob("quay.proof-*.json"):
        record.unlink()


HELD_BACK = """
async () => {
  const { keepFocus, make, replace } = await import("/page/dom.js");
  const box = make("div", {});
  document.body.append(box);
  const draw = (disabled) => keepFocus(() => replace(box, make("button", { id: "held", disabled }, "x"), make("button", { id: "other" }, "y")));
  const at = [];
  const look = () => at.push(document.activeElement.id);
  draw(false);
  document.getElementById("held").focus();
  for (const disabled of [true, false, true]) { draw(disabled); look(); }
  document.getElementById("other").focus();
  draw(false);
  look();
  document.activeElement.blur();
  draw(false);
  look();
  return at;
}
"""  # noqa: E501


def test_a_button_held_back_for_a_moment_has_the_keyboard_again_unless_that_went_elsewhere(page: Page) -> None:
    assert page.evaluate(HELD_BACK) == ["", "held", "", "other", ""]


def test_answers_by_keyboard_keep_their_place(console: Console, page: Page) -> None:
    page.click("#tab-hunt")
    page.select_option("#hunt-rail", "fiddle-1.R2")
    page.select_option("#hunt-trouble", "dead")
    page.locator("#hunt-start").focus()
    page.keyboard.press("Enter")
    page.locator("#hunt-closed").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#hunt-count")).to_contain_text("2 faults")
    expect(page.locator("#hunt-closed")).to_be_focused()
    page.click("#hunt-stop")


def test_a_hunt_that_has_nothing_to_find_says_what_to_do(console: Console, page: Page) -> None:
    throw_home(console)
    page.click("#tab-hunt")
    for rail, trouble, words in (
        ("fiddle-1.R2", "short", "if it trips only as a train crosses, choose that instead"),
        ("yard-stop.R1", "crossing", "choose a rail at the gap where it trips"),
        ("yard-stop.R1", "dead", "check"),
    ):
        page.select_option("#hunt-rail", rail)
        page.select_option("#hunt-trouble", trouble)
        page.click("#hunt-start")
        expect(page.locator("#notice")).to_contain_text(words)
        page.keyboard.press("Escape")
