// Trimming: ends in small steps while one watches the blade, the speed, and saving.

import { byId, draw, keepFocus, make, notice, replace, sentence, setAttribute, setText, told } from "/page/dom.js";
import { ask, mayTouch, order, page, state } from "/page/net.js";
import { onPicks } from "/page/drawing.js";
import { card } from "/page/railway.js";

export const mode = "throw";
export const hint = "Choose a drive below. Set it to an end, then move that end in small steps while you watch the blades.";

let select = null;
let body = null;
let shown = null;
let marker = null;
let said = null;

export function build(view) {
  select = make("select", { id: "trim-drive", onchange: () => { setText(said, ""); load(); } });
  body = make("div", { class: "trim-body" });
  // Outside the body: that is drawn anew when the saved layout comes back, and what was said must outlive it.
  said = make("p", { id: "trim-said", class: "quiet", role: "status" });
  view.append(card("Servo", make("p", { class: "route" }, make("label", { for: "trim-drive" }, "Drive"), select), body, said));
  onPicks({ piece: (name) => { const d = page.layout.drawing.nodes.find((n) => n.name === name)?.drives[0]; if (d && [...select.options].some((o) => o.value === d)) { select.value = d; if (!byId("view-trim").hidden) load(); } } });
}

export function layout() {
  const before = select.value;
  const servos = Object.entries(page.layout.drives).filter(([, d]) => !d.hand && d.board).map(([n]) => n);
  replace(select, servos.map((d) => make("option", { value: d }, d)));
  if (servos.includes(before)) select.value = before;
  shown = null;
}

export function opened() {
  if (page.layout && select.value) load();
}

async function load() {
  if (!select.value) return;
  try {
    show(await ask("trim.show", { drive: select.value }));
  } catch (problem) {
    notice(problem);
  }
}

async function step(setting, pulse) {
  setText(said, "");
  const answer = await order("trim", { drive: shown.drive, setting, pulse_us: Math.round(pulse) });
  if (answer) show(answer);
}

function show(t) {
  const field = byId("trim-speed"); // a time that was typed and not tried yet stays
  const typed = field && shown?.drive === t.drive && field.value !== String(shown.travel_ms) ? field.value : null;
  shown = t;
  const ends = t.settings.map((setting, i) => end(t, setting, i));
  const speed = make("input", { id: "trim-speed", type: "number", min: 100, max: 20000, step: 50, value: typed ?? t.travel_ms });
  const buttons = make("p", { class: "actions" },
    make("button", { type: "button", id: "trim-save", class: "main", disabled: !mayTouch() || !state.file.writable, onclick: async () => { const a = await order("trim.save", { drive: t.drive }); if (a) { show(a); setText(said, "Saved into the layout file; its comments are as they were. Send the settings to the board when no train moves."); } } }, "Save into the layout file"));
  keepFocus(() => replace(body, curve(t), make("div", { class: "ends-grid" }, ends),
    make("p", { class: "route" }, make("label", { for: "trim-speed" }, "Time from end to end, ms"), speed,
      make("button", { type: "button", disabled: !mayTouch(), id: "trim-try", onclick: async () => { const a = await order("trim.speed", { drive: t.drive, travel_ms: Math.round(Number(speed.value)) }); if (a) show(a); } }, "Try it"),
      make("span", { class: "quiet" }, "sends the board new settings; its feeds are off for a moment")),
    ...t.faults.map((f) => make("div", { class: "fault warning" }, make("b", {}, sentence(f.what)), told("Why", f.why), told("Cure", f.cure))),
    windows(t), buttons));
  move();
}

function end(t, setting, i) {
  const value = t.ends[i];
  const by = (us) => make("button", { type: "button", disabled: !mayTouch(), id: `trim-${setting}${us}`, "aria-label": `${setting} ${us > 0 ? "longer" : "shorter"} by ${Math.abs(us)} microseconds`, onclick: () => step(setting, t.ends[i] + us) }, us > 0 ? `+${us}` : `−${-us}`);
  return make("fieldset", { class: "end" }, make("legend", {}, `End “${setting}”`),
    make("button", { type: "button", disabled: !mayTouch(), id: `trim-go-${setting}`, onclick: () => order("throw", { drive: t.drive, to: setting }) }, `Throw to ${setting}`),
    make("output", { class: "pulse", id: `trim-pulse-${setting}` }, `${value} µs`),
    make("div", { class: "steps" }, by(-20), by(-5), by(-1), by(1), by(5), by(20)),
    make("small", { class: "quiet" }, value === t.planned[i] ? "as in the settings" : `settings say ${t.planned[i]} µs`));
}

// The blade's travel over the pulse, with the band in which its play leaves it, and the window between the touches.
function curve(t) {
  const w = 640, h = 190, left = 62, bottom = 30;
  if (!t.curve.length) return make("p", { class: "quiet" }, "No curve: the geometry below has to be put right first.");
  const low = t.curve[0][0], high = t.curve[t.curve.length - 1][0];
  const x = (us) => left + ((us - low) / (high - low)) * (w - left - 12);
  const y = (mm) => h - bottom - (mm / t.throw_mm) * (h - bottom - 16);
  const upper = t.curve.map(([p, , b]) => `${x(p).toFixed(1)} ${y(b).toFixed(1)}`);
  const lower = [...t.curve].reverse().map(([p, a]) => `${x(p).toFixed(1)} ${y(a).toFixed(1)}`);
  const svg = draw("svg", { viewBox: `0 0 ${w} ${h}`, class: "curve", role: "img", "aria-label": `Blade travel of ${t.drive} from ${t.ends[0]} to ${t.ends[1]} microseconds` });
  const spans = Object.values(t.windows).map((v) => [v.leave_us, v.arrive_us]);
  let words = null;
  if (spans.length) {
    const a = Math.max(...spans.map(([p, q]) => Math.min(p, q))), b = Math.min(...spans.map(([p, q]) => Math.max(p, q)));
    if (b > a) svg.append(draw("rect", { class: "free", x: x(a), y: 8, width: x(b) - x(a), height: h - bottom - 8 }));
    if (b > a) words = draw("text", { x: (x(a) + x(b)) / 2, y: 24, class: "middle" }, "no blade touches");
  }
  svg.append(draw("path", { class: "play", d: `M${upper.join("L")}L${lower.join("L")}Z` }));
  if (words) svg.append(words);
  t.ends.forEach((us, i) => svg.append(draw("path", { class: "end-line", d: `M${x(us)} 8V${h - bottom}` }), draw("text", { x: x(us), y: h - 10, class: "middle" }, `${t.settings[i]} ${us} µs`)));
  svg.append(draw("text", { x: 4, y: y(t.throw_mm) + 4 }, `${t.throw_mm} mm`), draw("text", { x: 4, y: y(0) + 4 }, "0 mm"));
  marker = draw("path", { class: "now", d: "" });
  marker.dataset.low = low;
  svg.append(marker);
  svg.geometry = { x, h, bottom, low, high };
  marker.geometry = svg.geometry;
  return svg;
}

function windows(t) {
  const rows = Object.entries(t.windows).map(([to, w]) => make("li", {}, `To ${to}: from ${w.leave_us} to ${w.arrive_us} µs neither blade touches, ${w.ms > 0 ? `for ${w.ms} ms at this speed` : "but the servo's lag leaves no time for it at this speed"}`));
  const feeds = t.feeds.map((f) => make("li", {}, `${f.feed} on the way to ${f.to}: off at ${f.off_us} µs, on past ${f.on_us} µs`));
  return rows.length + feeds.length ? make("ul", { class: "plain-list" }, rows, feeds) : null;
}

function move() {
  if (!shown || !marker) return;
  const s = state.drives[shown.drive];
  const g = marker.geometry;
  const pulse = s?.pulse;
  if (!pulse || pulse < g.low || pulse > g.high) setAttribute(marker, "d", "M0 0");
  else setAttribute(marker, "d", `M${g.x(pulse)} 4V${g.h - g.bottom}`);
}

export function changed(d) {
  if (shown && d.drives && shown.drive in d.drives && !byId("view-trim").hidden) {
    move();
    const ends = state.drives[shown.drive]?.ends;
    if (ends && (ends[0] !== shown.ends[0] || ends[1] !== shown.ends[1])) load();
  }
}
