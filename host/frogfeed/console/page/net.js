// The socket to the console: the state as it is reported, and commands with their answers.

import { notice } from "/page/dom.js";

export const state = {
  boards: {}, drives: {}, feeds: {}, rails: {}, sensors: {}, inputs: {}, faults: {}, route: {}, log: {},
  file: {}, trim: {}, proof: {}, hunt: {},
};
export const page = { layout: null, role: "visitor", open: false, frames: 0, messages: 0 };

const listeners = [];
const waiting = new Map();
let socket = null;
let number = 0;
let pause = 250;

// `heard(kind, changes)`: kind is "layout", "state" or "link".
export function listen(heard) {
  listeners.push(heard);
}

function tell(kind, changes) {
  for (const heard of listeners) heard(kind, changes);
}

export function connect() {
  const address = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/ws`;
  socket = new WebSocket(address);
  socket.addEventListener("open", () => {
    pause = 250;
    for (const section of Object.keys(state)) state[section] = {};
    page.open = true;
    tell("link", true);
  });
  socket.addEventListener("message", (event) => take(JSON.parse(event.data)));
  socket.addEventListener("close", () => {
    page.open = false;
    for (const [, wait] of waiting) wait.reject({ what: "the console went away", why: "it was ended, or this machine slept", cure: "start it again and open the address that it prints" });
    waiting.clear();
    tell("link", false);
    setTimeout(connect, pause);
    pause = Math.min(pause * 2, 4000);
  });
}

function take(message) {
  page.messages += 1;
  if (message.t === "layout") {
    page.layout = message.layout;
    page.role = message.role;
    tell("layout", null);
  } else if (message.t === "state") {
    for (const [section, entries] of Object.entries(message.d)) {
      const here = (state[section] ??= {});
      for (const [key, value] of Object.entries(entries)) {
        if (value === null) delete here[key];
        else here[key] = value;
      }
    }
    tell("state", message.d);
  } else if (message.t === "answer") {
    const wait = waiting.get(message.id);
    waiting.delete(message.id);
    if (!wait) return;
    if (message.error) wait.reject(message.error);
    else wait.resolve(message.ok);
  }
}

export function ask(name, parameters = {}) {
  return new Promise((resolve, reject) => {
    if (!page.open) {
      reject({ what: "the console is not connected", cure: "wait a moment; the page tries by itself" });
      return;
    }
    number += 1;
    waiting.set(number, { resolve, reject });
    socket.send(JSON.stringify({ id: number, do: name, with: parameters }));
  });
}

// Ask, and show a refusal to the person. Resolves to null where it was refused.
export async function order(name, parameters = {}) {
  try {
    const answer = await ask(name, parameters);
    notice(null);
    return answer ?? true;
  } catch (problem) {
    notice(problem);
    return null;
  }
}

export const mayTouch = () => page.role === "operator";
