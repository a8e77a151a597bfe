// Proving: the board's steps by themselves, the meter's readings one by one, and the record.

import { byId, keepFocus, make, replace, setText, speak } from "/page/dom.js";
import { mayTouch, order, page, state } from "/page/net.js";
import { card } from "/page/railway.js";
import { markPicked } from "/page/drawing.js";

export const mode = "throw";
export const hint = "Take all vehicles off the track. The board throws and senses by itself; then the meter asks you.";

let boxes = {};
let asked = "";

export function build(view) {
  boxes = {
    by: make("input", { id: "prove-by", maxlength: 60, autocomplete: "off" }),
    meter: make("input", { id: "prove-meter", type: "checkbox", checked: true }),
    start: make("button", { type: "button", class: "main", id: "prove-start", onclick: () => order("prove.start", { meter: boxes.meter.checked, by: boxes.by.value }) }, "Start the proof"),
    stop: make("button", { type: "button", class: "plain", id: "prove-stop", onclick: () => order("prove.stop") }, "Stop here"),
    ask: make("div", { class: "ask", "aria-live": "polite" }),
    state: make("p", { class: "progress", role: "status", id: "prove-state" }),
    rows: make("tbody"),
    record: make("p", { class: "actions" }),
    empty: make("p", { class: "quiet", id: "prove-empty" }, "A proof throws every drive both ways and watches the board; then it asks you for the meter's readings, one by one, and keeps a record beside the layout file."),
  };
  view.append(card("Proof",
    make("p", { class: "route no-print" }, make("label", { for: "prove-by" }, "Proven by"), boxes.by, boxes.meter, make("label", { for: "prove-meter" }, "with the meter's readings"), boxes.start, boxes.stop),
    boxes.ask, boxes.state, boxes.record, boxes.empty,
    boxes.table = make("div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Steps of the proof" }, make("table", { class: "steps-table" }, make("thead", {}, make("tr", {}, ...["", "Step", "Expected", "Found"].map((t) => make("th", { scope: "col" }, t)))), boxes.rows))));
}

const SIGN = { open: "☐", pass: "☑", fail: "✕", skip: "–" };
const SAY = { open: "not done", pass: "passed", fail: "failed", skip: "left out" };

function show() {
  const p = state.proof.now;
  boxes.start.disabled = !mayTouch() || (p && p.state !== "ended");
  boxes.stop.disabled = !mayTouch();
  boxes.stop.hidden = !p || p.state === "ended";
  boxes.empty.hidden = Boolean(p);
  boxes.table.hidden = !p;
  if (!p) {
    setText(boxes.state, "");
    replace(boxes.rows);
    replace(boxes.ask);
    return;
  }
  const failed = p.steps.filter((s) => s[4] === "fail").length;
  setText(boxes.state, p.state === "ended" ? `The proof ${p.verdict === "unfinished" ? "is unfinished" : p.verdict}: ${p.done} of ${p.steps.length} steps done, ${failed} failed.${p.saved ? ` Record kept as ${p.saved}.` : ""}` : `${p.done} of ${p.steps.length}: ${p.step}`);
  boxes.state.dataset.state = p.state === "ended" ? (p.verdict === "passed" ? "laid" : "failed") : "laying";
  replace(boxes.rows, p.steps.map(([name, , what, expected, result, found]) =>
    make("tr", { class: `step ${result}`, "aria-current": name === p.step && p.state !== "ended" ? "step" : null },
      make("td", {}, make("span", { class: `tick ${result}`, role: "img", "aria-label": SAY[result] }, SIGN[result])), make("th", { scope: "row" }, what), make("td", {}, expected), make("td", {}, found))));
  replace(boxes.record, p.state === "ended" ? [make("button", { type: "button", onclick: () => print() }, "Print the record"), make("a", { href: "/record.json", download: "proof.json", class: "button plain" }, "Get the record")] : []);
  keepFocus(() => ask(p));
}

function ask(p) {
  if (p.state !== "asking") {
    asked = "";
    replace(boxes.ask);
    return;
  }
  if (asked === p.step + p.by_hand) return;
  asked = p.step + p.by_hand;
  const step = p.steps.find((s) => s[0] === p.step);
  const name = step[0];
  const what = p.by_hand || step[2];
  const kind = p.by_hand ? "hand" : "meter";
  const say = (answer) => order("prove.answer", { step: name, answer, note: "" });
  const buttons = kind === "meter"
    ? [make("button", { type: "button", class: "main", id: "prove-closed", onclick: () => say("closed") }, "It reads closed"), make("button", { type: "button", class: "main", id: "prove-open", onclick: () => say("open") }, "It reads open")]
    : [];
  replace(boxes.ask, make("h3", {}, kind === "meter" ? "Put the meter on" : "By hand"), make("p", { class: "big" }, what),
    kind === "meter" ? make("p", { class: "quiet" }, "Continuity, track supplies off, boards on.") : make("p", { class: "quiet" }, "The page goes on by itself when the contacts say so."),
    make("p", { class: "actions" }, buttons, make("button", { type: "button", class: "plain", id: "prove-skip", onclick: () => say("skip") }, "Leave this one out")));
  for (const b of boxes.ask.querySelectorAll("button")) b.disabled = !mayTouch();
  speak(what);
  const rail = /between (\S+)/.exec(what)?.[1];
  if (rail && page.layout) markPicked("rail", rail);
}

export const layout = () => show();
export const opened = () => show();
export function changed(d) {
  if (d.proof && !byId("view-prove").hidden) show();
}
