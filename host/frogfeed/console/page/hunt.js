// Finding a fault: choose a rail, measure where asked, and see the suspects narrow down.

import { byId, keepFocus, make, replace, setText, speak } from "/page/dom.js";
import { mayTouch, order, page, state } from "/page/net.js";
import { card } from "/page/railway.js";
import { markPicked, onPicks } from "/page/drawing.js";

export const mode = "rail";
export const hint = "Press the rail that is dead or shorts, or choose it below.";

let boxes = {};

export function build(view) {
  boxes = {
    empty: make("p", { class: "quiet", id: "hunt-empty" }, "Choose the rail and what it does. You are then told where to put the meter, and what is left of the suspects after each reading."),
    cards: [],
    rail: make("select", { id: "hunt-rail", onchange: () => boxes.rail.value && markPicked("rail", boxes.rail.value) }),
    trouble: make("select", { id: "hunt-trouble" }, make("option", { value: "dead" }, "is dead"), make("option", { value: "short" }, "trips the supply as it is"), make("option", { value: "crossing" }, "trips as a train crosses it")),
    start: make("button", { type: "submit", class: "main", id: "hunt-start" }, "Begin"),
    stop: make("button", { type: "button", class: "plain", id: "hunt-stop", onclick: () => order("hunt.stop") }, "Put it away"),
    next: make("div", { class: "ask", "aria-live": "polite" }),
    suspects: make("ol", { class: "suspects" }),
    count: make("p", { class: "progress", role: "status", id: "hunt-count" }),
    readings: make("tbody"),
    way: make("ol", { class: "way-list" }),
  };
  view.append(make("div", { class: "column" },
    card("What is wrong", make("form", { class: "route", onsubmit: begin }, make("label", { for: "hunt-rail" }, "Rail"), boxes.rail, make("label", { for: "hunt-trouble", class: "spoken" }, "trouble"), boxes.trouble, boxes.start, boxes.stop), boxes.count, boxes.next, boxes.empty),
    found("Readings", make("div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Readings taken" }, make("table", {}, make("thead", {}, make("tr", {}, ...["Between", "Read", "If all is well"].map((t) => make("th", { scope: "col" }, t)))), boxes.readings)))), make("div", { class: "column" },
    found("Suspects", boxes.suspects),
    found("From the supply to this rail", boxes.way)));
  onPicks({ rail: (name) => choose(name, null) });
}

// A card that is there while a hunt is on.
function found(title, ...content) {
  const element = card(title, ...content);
  element.hidden = true;
  boxes.cards.push(element);
  return element;
}

export function choose(rail, trouble) {
  boxes.rail.value = rail;
  if (trouble) boxes.trouble.value = trouble;
  markPicked("rail", rail);
  speak(`Rail ${rail}`);
}

function begin(event) {
  event.preventDefault();
  if (boxes.rail.value) order("hunt.start", { rail: boxes.rail.value, trouble: boxes.trouble.value, settings: {} });
}

export function layout() {
  const names = [...new Set(page.layout.drawing.rails.filter((r) => !r.plastic).map((r) => r.rail))].sort();
  const before = boxes.rail.value;
  replace(boxes.rail, make("option", { value: "" }, "choose a rail"), names.map((r) => make("option", { value: r }, r)));
  boxes.rail.value = names.includes(before) ? before : "";
  show();
}

function show() {
  const h = state.hunt.now;
  boxes.start.disabled = !mayTouch();
  boxes.stop.disabled = !mayTouch();
  boxes.stop.hidden = !h;
  boxes.empty.hidden = Boolean(h);
  for (const c of boxes.cards) c.hidden = !h || (c.contains(boxes.readings) && !h.readings.length);
  replace(boxes.way, h ? h.way.map((s) => make("li", {}, make("b", {}, s.b), ` through ${s.what} from ${s.a}`)) : []);
  if (!h) {
    setText(boxes.count, "");
    replace(boxes.next);
    replace(boxes.suspects);
    replace(boxes.readings);
    return;
  }
  markPicked("rail", h.rail);
  const n = h.suspects.length;
  setText(boxes.count, h.none_left ? "No single fault fits all readings: there are two at once, or a reading is wrong. Begin again." : n === 1 ? "One fault is left." : h.next ? `${n} faults would explain it.` : `${n} faults are left that no meter can tell apart here; look at each.`);
  replace(boxes.suspects, h.suspects.map((s) => make("li", {}, make("b", {}, s.kind), make("span", { class: "place" }, s.place), make("small", {}, s.note ? `${s.cure} (${s.note})` : s.cure))));
  replace(boxes.readings, h.readings.map((r) => make("tr", { "data-fault": r.reads !== "not read" && r.reads !== r.sound ? "yes" : null }, make("th", { scope: "row" }, words(r)), make("td", {}, r.reads), make("td", {}, r.sound))));
  keepFocus(() => next(h));
}

function words(r) {
  const thrown = Object.entries(r.throw).map(([d, s]) => `${d} thrown to ${s}`);
  const lift = r.lift ? [`wire at ${r.lift} taken off`] : [];
  return [`${r.a} and ${r.b}`, ...thrown, ...lift].join(", ");
}

function next(h) {
  const r = h.next;
  if (!r) {
    replace(boxes.next);
    return;
  }
  const say = (reads) => order("hunt.answer", { number: r.number, reads });
  const before = [...Object.entries(r.throw).map(([d, s]) => `Throw ${d} to ${s}.`), ...(r.lift ? [`Take off the wire that feeds ${r.lift}.`] : [])];
  replace(boxes.next, make("h3", {}, "Measure next"), before.length ? make("p", {}, before.join(" ")) : null,
    make("p", { class: "big" }, `${r.a}  ↔  ${r.b}`), make("p", { class: "quiet" }, `Continuity, track supplies off, boards on. If all is well it reads ${r.sound}.`),
    make("p", { class: "actions" }, make("button", { type: "button", class: "main", id: "hunt-closed", onclick: () => say("closed") }, "It reads closed"), make("button", { type: "button", class: "main", id: "hunt-open", onclick: () => say("open") }, "It reads open"), make("button", { type: "button", class: "plain", id: "hunt-unsure", onclick: () => say("unsure") }, "Can't get at it")));
  for (const b of boxes.next.querySelectorAll("button")) b.disabled = !mayTouch();
}

export const opened = () => page.layout && show();
export function changed(d) {
  if (d.hunt && !byId("view-hunt").hidden) show();
}
