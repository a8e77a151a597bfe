// Small helpers to build the page. Text is always set as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

export function make(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

export function draw(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked" || name === "disabled") element[name] = value;
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  element.append(...children.flat().filter((c) => c !== null && c !== undefined));
  return element;
}

export const byId = (id) => document.getElementById(id);

export function replace(element, ...children) {
  element.replaceChildren(...children.flat().filter((c) => c !== null && c !== undefined));
}

// Draw a part anew while the keyboard stays where it was: what had the focus is found again by its id. What cannot take
// it now (it may not be pressed for a moment) gets it at the next drawing, unless the keyboard has gone elsewhere.
let awaited = "";
export function keepFocus(act) {
  const id = document.activeElement === document.body ? awaited : document.activeElement?.id;
  act();
  if (id && document.activeElement?.id !== id) byId(id)?.focus();
  awaited = document.activeElement?.id === id ? "" : id;
}

// Set text, attribute or class only where it differs: most updates change little.
export function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export function setAttribute(element, name, value) {
  if (value === null || value === undefined || value === false) {
    if (element.hasAttribute(name)) element.removeAttribute(name);
  } else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

let spoken = 0;
export function speak(text) {
  const region = byId("spoken");
  region.textContent = text + (spoken++ % 2 ? "\u00a0" : "");
}

let noticeTimer = 0;
export function notice(problem) {
  const box = byId("notice");
  clearTimeout(noticeTimer);
  if (!problem) {
    box.hidden = true;
    return;
  }
  const close = make("button", { type: "button", class: "plain", onclick: () => notice(null) }, "Close");
  replace(box, make("div", {}, make("strong", {}, sentence(problem.what)), told("Why", problem.why), told("What to do", problem.cure)), close);
  box.hidden = false;
  noticeTimer = setTimeout(() => notice(null), 20000);
}

export function told(label, text) {
  return text ? make("p", {}, make("span", { class: "label" }, `${label}: `), text) : null;
}

export function sentence(text) {
  const t = String(text || "");
  const name = /^[\w-]+\.\w/.test(t); // names of wires and rails stay as they are written
  return t ? (name ? t[0] : t[0].toUpperCase()) + t.slice(1) + (/[.!?]$/.test(t) ? "" : ".") : "";
}
