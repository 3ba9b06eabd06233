// What is asked of the server. Every change says which version of the desk it was made on.
"use strict";

export const desk = { state: null, pair: null };
const listeners = [];

export const listen = (listener) => listeners.push(listener);
const tell = () => listeners.forEach((listener) => listener(desk));

const by = (id) => document.getElementById(id);

export const say = (text) => { by("status").textContent = text; };
export const complain = (text) => { by("fault").textContent = text; };

// Work of more than half a second shows itself, and can be left.
const running = new Map();
const showBusy = () => { by("busy").hidden = ![...running.values()].some((isLong) => isLong); };

export const busy = async (work) => {
  const own = new AbortController();
  running.set(own, false);
  const shown = setTimeout(() => {
    running.set(own, true);
    showBusy();
  }, 500);
  try {
    return await work(own.signal);
  } finally {
    clearTimeout(shown);
    running.delete(own);
    showBusy();
  }
};
by("leave").addEventListener("click", () => [...running.keys()].forEach((own) => own.abort()));

const answer = async (response) => {
  const text = await response.text();
  let told;
  try {
    told = JSON.parse(text);
  } catch {
    told = response.ok ? text : { fault: text };
  }
  if (!response.ok) throw Object.assign(new Error(told.fault ?? response.statusText), { stale: told.stale });
  return told;
};

const failed = (error) => {
  if (error.name === "AbortError") return say("Left; nothing was changed.");
  complain(error instanceof TypeError ? "The desk does not answer; this step was not kept. Start obelus desk again with the same folder: all steps before are there." : error.message);
};

export const get = async (path) => {
  try {
    return await busy(async (signal) => answer(await fetch(path, { signal })));
  } catch (error) {
    failed(error);
    return null;
  }
};

const take = async (state) => {
  const pair = desk.pair?.number === state.pair ? desk.pair : state.pair === null ? null : await answer(await fetch("/pair"));
  desk.state = state;
  desk.pair = pair;
  tell();
};

export const refresh = async () => {
  try {
    await take(await answer(await fetch("/state")));
  } catch (error) {
    failed(error);
  }
};

// Asks for a change; true when it was made.
const ask = async (path, options) => {
  complain("");
  try {
    const state = await busy(async (signal) => answer(await fetch(path, { method: "POST", signal, ...options })));
    if (state.version) await take(state);
    if (state.done) say([/^(undone|done again)/.test(state.done) ? `${state.done[0].toUpperCase()}${state.done.slice(1)}.` : `Done: ${state.done}.`, ...(state.gone ?? [])].join(" "));
    return state;
  } catch (error) {
    failed(error);
    if (error.stale) await refresh();
    return null;
  }
};

const json = (body) => ({ body: JSON.stringify(body), headers: { "content-type": "application/json" } });

export const change = (what) => ask("/change", json({ version: desk.state.version, change: what }));
export const turn = (way) => ask(`/${way}`, json({ version: desk.state.version }));
export const handOut = () => ask("/hand-out", json({ version: desk.state.version }));
export const practise = () => ask("/practice", json({ version: desk.state.version }));
export const choose = (side, file) =>
  ask(`/choose/${side}?version=${desk.state.version}&name=${encodeURIComponent(file.name)}`, { body: file });

// The server says when another tab has changed something.
export const follow = () => {
  const events = new EventSource("/events");
  events.addEventListener("version", (event) => {
    if (desk.state && Number(event.data) !== desk.state.version) refresh();
  });
  addEventListener("pagehide", () => { events.close(); navigator.sendBeacon("/goodbye"); });
};
