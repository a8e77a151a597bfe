// The railway's own view: levers, routes, currents, feeds, and what happened.

import { byId, keepFocus, make, replace, setAttribute, setText, speak } from "/page/dom.js";
import { mayTouch, order, page, state } from "/page/net.js";
import { markPicked, onPicks } from "/page/drawing.js";

export const mode = "throw";
export const hint = "Press a turnout to throw it. Press two places, then lay the route between them.";

let levers = new Map();
let boxes = {};
let from = null;
let to = null;

export function build(view) {
  boxes = {
    levers: make("div", { class: "levers" }),
    route: make("form", { class: "route", onsubmit: lay }),
    progress: make("p", { class: "progress", role: "status" }),
    off: make("button", { type: "button", class: "plain", id: "lay-stop", hidden: true, onclick: () => order("lay.stop") }, "Take it off"),
    feeds: make("tbody"),
    currents: make("div", { class: "currents" }),
    log: make("ol", { class: "log" }),
  };
  from = make("select", { id: "route-from" });
  to = make("select", { id: "route-to" });
  boxes.route.append(
    make("label", { for: "route-from" }, "From"), from, make("label", { for: "route-to" }, "to"), to,
    make("button", { type: "submit", id: "lay" }, "Lay the route"),
    boxes.off);
  view.append(make("div", { class: "column" },
    card("Route", boxes.route, boxes.progress),
    card("Drives", boxes.levers)), make("div", { class: "column" },
    card("Currents", boxes.currents),
    card("Switched feeds", make("div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Table of switched feeds" }, make("table", {}, make("thead", {}, make("tr", {}, ...["Feed", "Carries", "Table says", "State"].map((t) => make("th", { scope: "col" }, t)))), boxes.feeds))),
    card("What happened", boxes.log)));
  onPicks({ place: pick });
}

export function card(title, ...content) {
  const id = `card-${title.toLowerCase().replaceAll(/[^a-z]+/g, "-")}`;
  return make("section", { class: `card ${id}`, "aria-labelledby": id }, make("h2", { id }, title), ...content);
}

function pick(name) {
  if (!from.value || (from.value && to.value)) {
    from.value = name;
    to.value = "";
  } else if (from.value !== name) to.value = name;
  markPicked("place", name);
  speak(to.value ? `Route from ${from.value} to ${to.value}` : `Route from ${from.value}`);
}

function lay(event) {
  event.preventDefault();
  if (from.value && to.value) order("lay", { start: from.value, goal: to.value });
}

export function layout() {
  const options = () => [make("option", { value: "" }, "choose a place"), ...page.layout.places.map((p) => make("option", { value: p }, p))];
  for (const select of [from, to]) {
    const before = select.value;
    replace(select, options());
    select.value = page.layout.places.includes(before) ? before : "";
  }
  levers = new Map();
  keepFocus(() => replace(boxes.levers, Object.entries(page.layout.drives).map(([name, d]) => lever(name, d))));
  for (const b of boxes.route.querySelectorAll("button")) b.disabled = !mayTouch();
  refresh();
}

function lever(name, d) {
  const buttons = d.settings.map((s) =>
    make("button", { type: "button", id: `throw-${name}-${s}`, "aria-pressed": "false", disabled: d.hand || !mayTouch(), onclick: () => order("throw", { drive: name, to: s }) }, s));
  const where = make("span", { class: "where" });
  const pieces = d.pieces.join(" + ");
  const pointer = make("span", { class: "pointer" });
  const element = make("div", { class: "lever", role: "group", "aria-label": `${name}${pieces && pieces !== name ? ` (${pieces})` : ""}` },
    make("span", { class: "who" }, make("b", {}, name), pieces && pieces !== name ? make("small", {}, pieces) : null),
    make("span", { class: "ends" }, buttons[0], make("span", { class: "way", "aria-hidden": "true" }, pointer), buttons.slice(1)), where);
  levers.set(name, { element, buttons, where, pointer, settings: d.settings, hand: d.hand });
  return element;
}

function showLever(name) {
  const l = levers.get(name);
  const s = state.drives[name];
  if (!l || !s) return;
  l.settings.forEach((setting, i) => setAttribute(l.buttons[i], "aria-pressed", String(s.at === setting)));
  l.settings.forEach((setting, i) => setAttribute(l.buttons[i], "data-going", s.to === setting ? "yes" : null));
  const text = !s.known ? "not reported" : s.stalled ? "stalled" : s.moving ? `moving to ${s.to}` : s.to ? `waits to go to ${s.to}` : s.at ? (l.hand ? `at ${s.at}, by hand` : `at ${s.at}`) : "place not known";
  if (l.where.textContent && l.where.textContent !== text && s.at && !s.moving) speak(`${name} ${text}`);
  setText(l.where, text);
  setAttribute(l.element, "data-state", s.pos === null ? "unknown" : s.moving ? "moving" : "rest");
  l.pointer.style.left = `${(s.pos ?? 0.5) * 100}%`;
}

function showFeeds() {
  replace(boxes.feeds, Object.entries(state.feeds).sort(([a], [b]) => a.localeCompare(b, "en", { numeric: true })).map(([name, f]) => {
    const is = f.is ?? "?";
    return make("tr", { "data-fault": f.fault ? "yes" : null }, make("th", { scope: "row" }, name),
      make("td", {}, make("span", { class: `letter is-${is.toLowerCase()}` }, is === "moving" ? "…" : is)),
      make("td", {}, f.want ?? "?"),
      make("td", {}, f.fault ? `off: ${f.fault}` : f.board ? (!f.is ? "not reported" : f.is === f.want ? "as it should be" : f.is === "moving" || f.is === "off" ? "changing over" : "not reported") : "on no board"));
  }));
}

function showCurrents() {
  const entries = Object.entries(state.sensors).sort(([a], [b]) => a.localeCompare(b, "en", { numeric: true }));
  replace(boxes.currents, entries.length ? entries.map(([name, s]) => {
    const amps = s.ma === null ? "no answer" : `${(s.ma / 1000).toFixed(2)} A`;
    return make("div", { class: "current" }, make("span", { class: "who" }, make("b", {}, name), make("small", {}, s.feeds.join(", ") || "the bus")),
      make("meter", { min: 0, max: 3000, high: 1600, value: Math.abs(s.ma ?? 0), "aria-label": `current at ${name}` }), make("span", { class: "amps" }, amps));
  }) : [make("p", { class: "quiet" }, "No board here measures current.")]);
}

function showRoute() {
  const r = state.route.now;
  const words = { laying: "is being laid", laid: "lies", failed: "was not laid" };
  setText(boxes.progress, r ? `${r.start} to ${r.goal} ${words[r.state]}${r.state === "laying" ? `: throw ${r.done + 1} of ${r.throws.length}, ${r.throws[r.done]?.join(" to ") ?? ""}` : ""}. ${r.problem}` : "");
  setAttribute(boxes.progress, "data-state", r?.state);
  boxes.off.hidden = !r;
}

function showLog() {
  const lines = state.log.lines ?? [];
  replace(boxes.log, [...lines].reverse().slice(0, 14).map((l) => make("li", {}, make("time", {}, l.at), ` ${l.who} `, make("b", {}, l.what), ` ${l.text}`)));
}

function refresh() {
  for (const name of levers.keys()) showLever(name);
  showFeeds();
  showCurrents();
  showRoute();
  showLog();
}

export function changed(d) {
  for (const name of Object.keys(d.drives ?? {})) showLever(name);
  if (byId("view-railway").hidden) return;
  if (d.feeds) showFeeds();
  if (d.sensors) showCurrents();
  if (d.route) showRoute();
  if (d.log) showLog();
}

export const opened = () => page.layout && refresh();
