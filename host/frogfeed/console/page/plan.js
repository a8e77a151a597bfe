// Changing the plan: gaps, droppers, and what has been done to a piece. Each change is checked at once.

import { byId, keepFocus, make, replace, sentence, setText, speak, told } from "/page/dom.js";
import { mayTouch, order, page, state } from "/page/net.js";
import { card } from "/page/railway.js";
import { markPicked, onPicks } from "/page/drawing.js";

export const mode = "joint";
export const hint = "Press a joint between two tracks, or choose a joint or a piece below.";

let boxes = {};
let undo = 0;
let shownJoint = "";
let shownSide = "before";

const CHOICES = {
  make: [["live-frog", "frog of metal"], ["insulated-frog", "frog of plastic"]],
  links: [["in", "in"], ["removed", "removed"]],
  blades: [["contact", "feed by touch alone"], ["bonded", "bonded to their stock rails"]],
  frog: [["unfed", "not fed by a switch"], ["switched", "fed by a switch"]],
};
const TITLES = { make: "Made with", links: "Factory links", blades: "Blades", frog: "Frog" };

export function build(view) {
  boxes = {
    joint: make("select", { id: "plan-joint", onchange: () => pickJoint(Number(boxes.joint.value)) }),
    jointBody: make("div", { class: "plan-body" }),
    piece: make("select", { id: "plan-piece", onchange: () => showPiece() }),
    pieceBody: make("div", { class: "plan-body" }),
    findings: make("ol", { class: "findings" }),
    count: make("p", { class: "progress", role: "status", id: "plan-count" }),
    said: make("p", { class: "quiet", id: "plan-said", role: "status" }),
    save: make("button", { type: "button", class: "main", id: "plan-save", onclick: () => done("edit.save", {}, "Saved into the layout file; its comments are as they were. Send the settings to the boards when no train moves.") }, "Save into the layout file"),
    undo: make("button", { type: "button", id: "plan-undo", onclick: () => done("edit.undo", {}, "The last change is taken back.") }, "Take back the last change"),
    drop: make("button", { type: "button", class: "plain", id: "plan-drop", onclick: () => done("edit.drop", {}, "The page shows the file as it is saved.") }, "Back to the saved file"),
  };
  view.append(make("div", { class: "column" },
    card("Joint", make("p", { class: "route" }, make("label", { for: "plan-joint" }, "Between"), boxes.joint), boxes.jointBody),
    card("Piece", make("p", { class: "route" }, make("label", { for: "plan-piece" }, "Piece"), boxes.piece), boxes.pieceBody)),
    card("What check says", boxes.count, make("p", { class: "actions" }, boxes.save, boxes.undo, boxes.drop), boxes.said, boxes.findings));
  onPicks({ joint: (n) => { boxes.joint.value = n; pickJoint(n); }, piece: (name) => { if (page.layout.pieces[name]) { boxes.piece.value = name; showPiece(); } } });
}

async function done(name, parameters = {}, words = "") {
  setText(boxes.said, "");
  const answer = await order(name, parameters);
  if (answer) setText(boxes.said, words || "Changed here and checked; not saved yet.");
  if (answer?.undo !== undefined) undo = answer.undo;
  buttons();
}

function buttons() {
  boxes.save.disabled = !mayTouch() || !state.file.dirty || !state.file.writable;
  boxes.undo.disabled = !mayTouch() || !undo;
  boxes.drop.disabled = !mayTouch() || !state.file.dirty;
}

export function layout() {
  const [joint, piece] = [boxes.joint.value, boxes.piece.value];
  replace(boxes.joint, page.layout.joints.map((j, n) => make("option", { value: n }, `${j.a[0]} ${j.a[1]} – ${j.b[0]} ${j.b[1]}`)));
  replace(boxes.piece, Object.keys(page.layout.pieces).map((p) => make("option", { value: p }, p)));
  if ([...boxes.joint.options].some((o) => o.value === joint)) boxes.joint.value = joint;
  if (piece in page.layout.pieces) boxes.piece.value = piece;
  keepFocus(show);
}

function show() {
  pickJoint(Number(boxes.joint.value || 0), false);
  showPiece();
  findings();
  buttons();
}

function choice(name, value, options, act) {
  return make("div", { class: "choice", role: "radiogroup", "aria-label": name }, options.map(([v, text]) =>
    make("label", {}, make("input", { type: "radio", id: `choice-${name}-${v}`, name: `choice-${name}`, value: v, checked: v === value, disabled: !mayTouch(), onchange: () => act(v) }), text)));
}

function pickJoint(n, say = true) {
  const j = page.layout?.joints[n];
  if (!j) return;
  if (!byId("view-plan").hidden) markPicked("joint", n);
  if (say) speak(`Joint of ${j.a[0]} and ${j.b[0]}`);
  const gap = j.gaps.length === 2 ? "both" : (j.gaps[0] ?? "none");
  const feed = make("select", { id: "plan-feed", "aria-label": "droppers" }, make("option", { value: "" }, "none"), page.layout.districts.map((d) => [make("option", { value: `${d}:A` }, `${d}, A on the left rail`), make("option", { value: `${d}:B` }, `${d}, B on the left rail`)]).flat());
  const side = make("select", { id: "plan-side", "aria-label": "side of the joint" }, make("option", { value: "before" }, `on ${j.a[0]}'s side`), make("option", { value: "after" }, `on ${j.b[0]}'s side`));
  const stated = () => {
    shownSide = side.value;
    const f = j.feeds[side.value];
    feed.value = f ? `${f.district}:${f.left}` : "";
  };
  const same = shownJoint === `${j.a} ${j.b}`;
  side.value = same ? shownSide : j.feeds.after && !j.feeds.before ? "after" : "before";
  shownJoint = `${j.a} ${j.b}`;
  shownSide = side.value;
  side.addEventListener("change", stated);
  stated();
  feed.disabled = side.disabled = !mayTouch();
  replace(boxes.jointBody,
    make("p", { class: "quiet" }, `From ${j.a[0]} to ${j.b[0]}, as line “${j.line}” lists it; line ${j.file_line} of the file.`),
    make("h3", {}, "Insulated joiners"),
    choice("gap", gap, [["none", "none"], ["both", "both rails"], ["left", "left rail"], ["right", "right rail"]], (v) => done("edit.joint", { joint: n, gap: v })),
    make("h3", {}, "Droppers"),
    make("p", { class: "route" }, side, feed, make("button", { type: "button", id: "plan-feed-set", disabled: !mayTouch(), onclick: () => {
      const [district, left] = feed.value ? feed.value.split(":") : [null, "A"];
      done("edit.feed", { joint: n, side: side.value, district, left, rail: "both" });
    } }, "Set")));
}

function showPiece() {
  const name = boxes.piece.value;
  const p = page.layout?.pieces[name];
  if (!p) return;
  replace(boxes.pieceBody, Object.keys(CHOICES).map((key) => [make("h3", {}, TITLES[key]), choice(key, p[key], CHOICES[key], (v) => done("edit.piece", { piece: name, key, value: v }))]).flat());
}

function findings() {
  const all = page.layout.findings;
  const n = { error: 0, warning: 0, note: 0 };
  for (const f of all) n[f.severity] += 1;
  const count = (k) => `${n[k]} ${k}${n[k] === 1 ? "" : "s"}`;
  setText(boxes.count, all.length ? `Check says: ${count("error")}, ${count("warning")}, ${count("note")}.${page.layout.planned ? "" : " No plan can be made until the errors are cured."}` : "Check is content: nothing shorts, nothing is dead, at any setting.");
  boxes.count.dataset.state = n.error ? "failed" : "laid";
  const order_ = { error: 0, warning: 1, note: 2 };
  replace(boxes.findings, [...all].sort((a, b) => order_[a.severity] - order_[b.severity]).map((f) => make("li", { class: `fault ${f.severity}` },
    make("h3", {}, make("span", { class: "sign", "aria-hidden": "true" }, f.severity === "error" ? "✕" : f.severity === "warning" ? "!" : "i"), make("span", { class: "spoken" }, `${f.severity}: `), sentence(f.what)),
    told("Why", f.why), told("Cure", f.cure), f.when ? told("Shows with", Object.entries(f.when).map(([d, s]) => `${d} at ${s}`).join(", ")) : null,
    f.accepted ? told("Accepted", f.accepted) : null, make("small", { class: "quiet" }, `${f.code}${f.line ? ` · line ${f.line}` : ""}`))));
}

export const opened = () => page.layout && show();
export function changed(d) {
  if (d.file && page.layout) buttons();
}
