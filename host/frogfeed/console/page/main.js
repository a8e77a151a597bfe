// The page: tabs, head, faults, and who is told what.

import { byId, make, notice, replace, sentence, setAttribute, setText, speak, told } from "/page/dom.js";
import { connect, listen, mayTouch, order, page, state } from "/page/net.js";
import { drawLayout, resize, setMode, showChanges, zoom } from "/page/drawing.js";
import * as railway from "/page/railway.js";
import * as trim from "/page/trim.js";
import * as prove from "/page/prove.js";
import * as hunt from "/page/hunt.js";
import * as plan from "/page/plan.js";

const views = { railway, trim, prove, hunt, plan };
let here = "railway";
let ready = false;

function show(name, focus = true) {
  here = name;
  for (const key of Object.keys(views)) {
    const tab = byId(`tab-${key}`);
    const on = key === name;
    tab.setAttribute("aria-selected", on);
    tab.tabIndex = on ? 0 : -1;
    byId(`view-${key}`).hidden = !on;
    if (on && focus) tab.focus();
  }
  setMode(views[name].mode);
  setText(byId("hint"), views[name].hint);
  if (ready) views[name].opened?.();
  history.replaceState(null, "", `#${name}`);
}

function tabs() {
  const names = Object.keys(views);
  for (const name of names) {
    const tab = byId(`tab-${name}`);
    tab.addEventListener("click", () => show(name));
    tab.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (step) show(names[(names.indexOf(name) + step + names.length) % names.length]);
      else if (event.key === "Home") show(names[0]);
      else if (event.key === "End") show(names[names.length - 1]);
    });
  }
}

function head() {
  const file = state.file;
  setText(byId("name"), page.layout ? page.layout.name : "frogfeed");
  const name = String(file.name ?? "").split("/").pop();
  const parts = [name];
  if (page.layout) parts.push(page.layout.control === "dcc" ? "DCC" : "DC");
  if (file.dirty) parts.push("changes not saved");
  if (!mayTouch()) parts.push("visitor: look, don't touch");
  setText(byId("file"), page.open ? parts.join(" · ") : "the console is away; trying again…");
  document.body.dataset.link = page.open ? "up" : "down";
  document.body.dataset.role = page.role;
  byId("all-off").disabled = !mayTouch();
  const off = Object.values(state.boards).some((b) => b.all_off);
  setText(byId("all-off"), off ? "Feeds on again" : "All feeds off");
  setAttribute(byId("all-off"), "data-off", off ? "yes" : null);
  replace(byId("boards"), Object.entries(state.boards).map(([board, b]) =>
    make("li", { "data-up": b.up ? "yes" : "no" }, make("b", {}, board), ` ${b.up ? (b.matches ? "answers" : b.settling ? "gets its settings" : b.settings ? "other settings" : "no settings") : b.settling ? "is looked for" : "away"}`)));
}

let faultsShown = "";
function faults() {
  const entries = Object.entries(state.faults).sort(([, a], [, b]) => (a.severity > b.severity ? 1 : -1));
  const key = JSON.stringify(entries);
  if (key === faultsShown) return;
  const before = faultsShown ? JSON.parse(faultsShown).map(([k]) => k) : [];
  for (const [k, f] of entries) if (!before.includes(k)) speak(`Fault: ${f.what}`);
  faultsShown = key;
  replace(byId("faults"), entries.map(([, f]) => {
    const actions = [];
    if (f.do === "push") actions.push(make("button", { type: "button", disabled: !mayTouch(), onclick: () => order("push", { board: f.board }) }, `Send settings to ${f.board}`));
    if (f.do === "feed_reset") actions.push(make("button", { type: "button", disabled: !mayTouch(), onclick: () => order("feed_reset", { feed: f.feed }) }, `Clear ${f.feed}`));
    if (f.rail) actions.push(make("button", { type: "button", class: "plain", onclick: () => { show("hunt"); hunt.choose(f.rail, f.feed ? "short" : "short"); } }, "Find the fault"));
    return make("article", { class: `fault ${f.severity}` },
      make("h2", {}, make("span", { class: "sign", "aria-hidden": "true" }, f.severity === "error" ? "✕" : "!"), sentence(f.what)),
      told("Cause", f.why), told("Cure", f.cure), actions.length ? make("p", { class: "actions" }, actions) : null);
  }));
}

listen((kind, changes) => {
  if (kind === "layout") {
    drawLayout();
    ready = true;
    head();
    faults();
    for (const view of Object.values(views)) view.layout?.();
    views[here].opened?.();
  } else if (kind === "state") {
    showChanges(changes);
    if (changes.file || changes.boards) head();
    if (changes.faults) faults();
    for (const view of Object.values(views)) view.changed?.(changes);
    document.body.dataset.version = page.messages;
  } else head();
});

byId("all-off").addEventListener("click", () => {
  const off = Object.values(state.boards).some((b) => b.all_off);
  order(off ? "feed_reset" : "all_off", {});
});
byId("smaller").addEventListener("click", () => zoom(1 / 1.3));
byId("larger").addEventListener("click", () => zoom(1.3));
byId("fit").addEventListener("click", () => zoom(null));
addEventListener("resize", resize);
addEventListener("keydown", (event) => event.key === "Escape" && notice(null));
byId("legend-box").open = innerWidth > 620;
tabs();
for (const [name, view] of Object.entries(views)) view.build?.(byId(`view-${name}`), (to) => show(to));
show(location.hash.slice(1) in views ? location.hash.slice(1) : "railway", false);
connect();
