// The drawing: both rails of every track. What a rail carries is told by letter, line style and colour together.

import { byId, draw, make, replace, setAttribute, setText } from "/page/dom.js";
import { mayTouch, order, page, state } from "/page/net.js";

const SLEEPER = 28;
let rails = new Map(); // rail -> elements that wear its polarity
let badges = new Map();
let blades = []; // {base, core, points, tips, rail}
let pieces = new Map();
let places = new Map();
let bands = null;
let svg = null;
let scale = 0;
let picked = { place: null, joint: null, rail: null };
let onPick = { place: () => {}, piece: () => {}, joint: () => {}, rail: () => {} };
let mode = "throw"; // throw | joint | rail

export function setMode(value) {
  mode = value;
  if (svg) svg.setAttribute("data-mode", mode);
}

export function onPicks(handlers) {
  onPick = { ...onPick, ...handlers };
}

function path(points) {
  let d = `M${points[0]} ${points[1]}`;
  for (let i = 2; i < points.length; i += 2) d += `L${points[i]} ${points[i + 1]}`;
  return d;
}

export function drawLayout() {
  const { drawing, colours } = page.layout;
  rails = new Map();
  badges = new Map();
  blades = [];
  pieces = new Map();
  places = new Map();
  const root = document.documentElement;
  root.style.setProperty("--wire-a", colours.A ?? "#a63a12");
  root.style.setProperty("--wire-b", colours.B ?? "#16324f");
  const bed = draw("g", { class: "bed" });
  for (const line of [...Object.values(drawing.roads), ...Object.values(drawing.joints)]) {
    bed.append(draw("path", { d: path(line), class: "ballast" }));
  }
  const ties = draw("g", { class: "ties" });
  for (const line of [...Object.values(drawing.roads), ...Object.values(drawing.joints)]) {
    ties.append(draw("path", { d: path(line), class: "tie", "stroke-width": SLEEPER }));
  }
  bands = draw("g", { class: "bands" });
  const iron = draw("g", { class: "iron" });
  for (const r of drawing.rails) iron.append(railElement(r));
  const marks = draw("g", { class: "marks" });
  for (const m of drawing.marks) marks.append(markElement(m));
  const letters = draw("g", { class: "letters", "aria-hidden": "true" });
  for (const b of drawing.badges) letters.append(badgeElement(b));
  const names = draw("g", { class: "names" });
  for (const n of drawing.nodes) names.append(...nodeElements(n, bed));
  for (const l of drawing.labels) {
    names.append(draw("text", { x: l.at[0], y: l.at[1], class: "on", "text-anchor": l.east ? "start" : "end" }, l.east ? `to ${l.text} ▸` : `◂ to ${l.text}`));
  }
  const joints = draw("g", { class: "joints" });
  for (const [number, line] of Object.entries(drawing.joints)) joints.append(jointElement(Number(number), line));
  const [w, h] = drawing.size;
  svg = draw("svg", { viewBox: `0 0 ${w} ${h}`, role: "group", "aria-label": `Track plan of ${page.layout.name}`, "data-mode": mode }, bed, ties, bands, iron, marks, joints, letters, names);
  replace(byId("canvas"), svg);
  resize();
  drawLegend();
  refreshAll();
}

function railElement(r) {
  const group = draw("g", { class: "rail" + (r.frog ? " frog" : "") + (r.plastic ? " plastic" : ""), "data-rail": r.rail });
  const d = path(r.pts);
  const base = draw("path", { d, class: "base" });
  const core = draw("path", { d, class: "core" });
  const touch = draw("path", { d, class: "touch" });
  touch.addEventListener("click", () => mode === "rail" && onPick.rail(r.rail));
  group.append(base, core, touch);
  group.append(draw("title", {}, r.rail));
  if (!r.plastic) {
    if (!rails.has(r.rail)) rails.set(r.rail, []);
    rails.get(r.rail).push(group);
  }
  if (r.tips) blades.push({ group, base, core, touch, points: r.pts, tips: r.tips, rail: r.rail });
  return group;
}

function markElement(m) {
  const [x, y] = m.at;
  const [dx, dy] = m.along;
  const t = 5.5;
  const cut = m.kind === "gap";
  const group = draw("g", { class: `mark ${m.kind}` });
  for (const s of cut ? [-2.4, 2.4] : [0]) {
    group.append(draw("path", { d: `M${x + s * dx - t * -dy} ${y + s * dy - t * dx}L${x + s * dx + t * -dy} ${y + s * dy + t * dx}` }));
  }
  return group;
}

function badgeElement(b) {
  const [x, y] = b.at;
  const shape = b.feed ? draw("rect", { x: x - 7, y: y - 7, width: 14, height: 14, rx: 2 }) : draw("circle", { cx: x, cy: y, r: 7 });
  const text = draw("text", { x, y: y + 3.6 }, "");
  const group = draw("g", { class: "badge" + (b.feed ? " feed" : ""), "data-rail": b.rail }, shape, text);
  if (!badges.has(b.rail)) badges.set(b.rail, []);
  badges.get(b.rail).push({ group, text });
  return group;
}

function nodeElements(n, bed) {
  const [x, y, w, h] = n.box;
  const found = [];
  const label = draw("text", { x: n.label[0], y: n.label[1], dy: "0.35em", class: n.drives.length ? "name piece" : "name" }, n.name);
  if (n.stop) {
    const [sx, sy, east] = n.stop;
    if (n.kind === "buffer") found.push(draw("path", { class: "buffer", d: `M${sx} ${sy - 14}V${sy + 14}M${sx + (east ? 5 : -5)} ${sy - 9}V${sy + 9}` }));
    else found.push(draw("path", { class: "open-end", d: `M${sx + (east ? 6 : -6)} ${sy - 9}l${east ? 9 : -9} 9l${east ? -9 : 9} 9` }));
  }
  const place = page.layout.places.includes(n.name);
  const hit = draw("rect", { x, y: y - 4, width: w, height: h + 8, rx: 12, class: "hit" });
  const live = place || n.drives.length > 0;
  const group = draw("g", { class: place ? "node place" : "node turnout", ...(live ? { role: "button", tabindex: 0 } : {}), "data-name": n.name, "aria-label": n.name }, hit, label);
  if (live) {
    const act = () => (place ? pickPlace(n.name) : pickPiece(n));
    group.addEventListener("click", () => mode !== "rail" && mode !== "joint" && act());
    group.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        act();
      }
    });
  }
  (place ? places : pieces).set(n.name, { group, node: n, label });
  found.push(group);
  return found;
}

function jointElement(number, line) {
  const j = page.layout.joints[number];
  const name = `joint of ${j.a[0]} ${j.a[1]} and ${j.b[0]} ${j.b[1]}`;
  const touch = draw("path", { d: path(line), class: "joint-touch", tabindex: -1, role: "button", "aria-label": name, "data-joint": number });
  touch.addEventListener("click", () => onPick.joint(number));
  return touch;
}

function pickPlace(name) {
  onPick.place(name);
}

function pickPiece(n) {
  onPick.piece(n.name);
  if (mode !== "throw") return;
  if (n.drives.length === 1) throwOver(n.drives[0]);
}

// The other setting of a drive with two: of the one it is at, or goes to.
export function throwOver(name) {
  const drive = page.layout.drives[name];
  const now = state.drives[name] ?? {};
  const here = now.to ?? now.at;
  const to = drive.settings.find((s) => s !== here) ?? drive.settings[0];
  if (!mayTouch()) return;
  order("throw", { drive: name, to });
}

// ---- state -> drawing -----------------------------------------------------------------------------

export function polarity(wire) {
  if (wire === undefined || wire === "?") return "unknown";
  if (wire === "") return "dead";
  if (wire.includes("!")) return "short";
  return wire.endsWith(".A") ? "a" : "b";
}

const LETTER = { a: "A", b: "B", dead: "–", unknown: "?", short: "!" };

function showRail(rail) {
  const p = polarity(state.rails[rail]);
  for (const element of rails.get(rail) ?? []) setAttribute(element, "data-is", p);
  for (const { group, text } of badges.get(rail) ?? []) {
    setAttribute(group, "data-is", p);
    setText(text, LETTER[p]);
  }
}

function openness(when) {
  let most = 0;
  let sure = true;
  for (const [drive, setting] of when) {
    const now = state.drives[drive];
    const index = page.layout.drives[drive].settings.indexOf(setting);
    if (!now || now.pos === null || now.pos === undefined) {
      sure = false;
      most = Math.max(most, 0.5);
    } else most = Math.max(most, Math.abs(now.pos - index));
  }
  return [Math.min(most, 1), sure];
}

function showBlade(b) {
  let moved = b.points;
  let sure = true;
  for (const tip of b.tips) {
    const [open, known] = openness(tip.when);
    sure &&= known;
    if (open) moved = moved.map((v, i) => v + open * tip.shift[i]);
  }
  const d = path(moved.map((v) => Math.round(v * 10) / 10));
  setAttribute(b.base, "d", d);
  setAttribute(b.core, "d", d);
  setAttribute(b.touch, "d", d);
  setAttribute(b.group, "data-sure", sure ? "yes" : "no");
}

function showPiece(name) {
  const { group, node } = pieces.get(name);
  const words = node.drives.map((d) => {
    const s = state.drives[d] ?? {};
    if (s.moving) return "moving";
    if (s.to) return "waiting";
    return s.at ?? "not known";
  });
  setAttribute(group, "data-set", words.join(" "));
  const drive = node.drives[0];
  const hand = drive && page.layout.drives[drive].hand;
  const says = node.drives.map((d, i) => `${node.drives.length > 1 ? d + " " : ""}${words[i]}`).join(", ");
  setAttribute(group, "aria-label", drive ? `${name}: ${says}${hand ? ", thrown by hand" : node.drives.length === 1 ? "; press to throw" : ""}` : name);
  setAttribute(group, "data-fault", Object.keys(state.faults).some((k) => k.startsWith(`feed ${name}.`)) ? "yes" : "no");
}

function showRoute() {
  const route = state.route.now;
  const found = [];
  if (route) {
    for (const [road, joint] of route.steps) {
      if (joint >= 0) found.push(page.layout.drawing.joints[joint]);
      found.push(page.layout.drawing.roads[road]);
    }
  }
  replace(bands, ...found.filter(Boolean).map((line) => draw("path", { d: path(line), class: `band ${route.state}` })));
  for (const [name, { group }] of places) setAttribute(group, "data-route", route && (route.start === name || route.goal === name) ? "end" : null);
}

function refreshAll() {
  for (const rail of new Set([...rails.keys(), ...badges.keys()])) showRail(rail);
  for (const b of blades) showBlade(b);
  for (const name of pieces.keys()) showPiece(name);
  showRoute();
  for (const [kind, value] of Object.entries(picked)) if (value !== null) markPicked(kind, value);
}

export function showChanges(d) {
  if (!svg) return;
  for (const rail of Object.keys(d.rails ?? {})) showRail(rail);
  if (d.drives) {
    for (const b of blades) if (b.tips.some((t) => t.when.some(([drive]) => drive in d.drives))) showBlade(b);
    for (const [name, { node }] of pieces) if (node.drives.some((x) => x in d.drives)) showPiece(name);
  }
  if (d.faults) for (const name of pieces.keys()) showPiece(name);
  if (d.route) showRoute();
  page.frames += 1;
}

export function markPicked(kind, value) {
  picked[kind] = value;
  if (kind === "joint") for (const e of svg.querySelectorAll(".joint-touch")) setAttribute(e, "data-picked", e.dataset.joint === String(value) ? "yes" : null);
  if (kind === "place") for (const [name, { group }] of places) setAttribute(group, "data-picked", name === value ? "yes" : null);
  if (kind === "rail") for (const [name, list] of rails) for (const e of list) setAttribute(e, "data-picked", name === value ? "yes" : null);
}

// ---- size and legend ------------------------------------------------------------------------------

export function zoom(factor) {
  const box = byId("canvas");
  const width = page.layout.drawing.size[0];
  const fit = box.clientWidth / width;
  const before = scale || startScale(fit);
  scale = factor === null ? fit : Math.min(Math.max(before * factor, fit * 0.9), 2.5);
  resize();
}

function startScale(fit) {
  return fit < 0.42 ? 0.6 : fit;
}

export function resize() {
  if (!svg || !page.layout) return;
  const box = byId("canvas");
  const [w, h] = page.layout.drawing.size;
  const used = Math.min(scale || startScale(box.clientWidth / w), 2.5);
  svg.setAttribute("width", Math.floor(w * used));
  svg.setAttribute("height", Math.floor(h * used));
  svg.style.setProperty("--k", Math.min(Math.max(0.85 / used, 0.8), 1.7).toFixed(3));
}

function sample(is, text) {
  const piece = draw("svg", { viewBox: "0 0 54 16", width: 54, height: 16, "aria-hidden": "true" },
    draw("g", { class: "rail", "data-is": is }, draw("path", { d: "M0 8H54", class: "base" }), draw("path", { d: "M0 8H54", class: "core" })),
    draw("g", { class: "badge", "data-is": is }, draw("circle", { cx: 27, cy: 8, r: 7 }), draw("text", { x: 27, y: 11.6 }, LETTER[is])));
  return make("li", {}, piece, text);
}

function drawLegend() {
  replace(byId("legend"), make("ul", {},
    sample("a", "bus wire A"), sample("b", "bus wire B"), sample("dead", "not fed"), sample("unknown", "not known"), sample("short", "two wires at once")),
    make("p", { class: "quiet" }, "A square letter is where a dropper comes up. Two strokes across a rail: insulated joiner. Blades stand as the board reports them."));
}
