// Speaks with the program: one decision after the other, each shown as saved only when it is on the
// disk; and hears when anybody else has changed the job.

import { made, refill, renew } from "./made.js";

const said = document.getElementById("said");
const trouble = document.getElementById("trouble");
const view = document.getElementById("view");
const parts = document.getElementById("parts");
const changed = new Set();
let version = view.dataset.version;
let queue = Promise.resolve();
let syncing = null;
let latest = version;
let unanswered = false;
let deciding = 0;
let acts = 0;
let waiting = "";

/** Call something after parts of the view were shown anew. */
export function whenChanged(call) {
  changed.add(call);
}

/** Say what was done. */
export function say(words) {
  for (const place of [said, ...document.querySelectorAll(".told")]) place.textContent = words;
}

/** Make a place for what was said last, in a question: it lies over the line at the foot of the page. */
export const lastSaid = () => made("span", { class: "told quiet" }, said.textContent);

/** Say what went wrong; "" takes it away. */
export function warn(words) {
  unanswered = false;
  lower();
  trouble.hidden = !words;
  trouble.textContent = words;
  // A question, or a picture in full size, lies over all that the page says.
  if (words && document.querySelector("dialog[open]")) trouble.showPopover();
}

/** Let what went wrong be read above a question that was opened after it. */
export function lift() {
  if (!trouble.hidden && !trouble.matches(":popover-open")) trouble.showPopover();
}

function lower() {
  if (trouble.matches(":popover-open")) trouble.hidePopover();
}

document.addEventListener("close", lower, true);

function lost(words = "The program does not answer. What was said to be saved is safe.") {
  warn(words);
  unanswered = true;
}

/** Do one thing after the other, so that answers are shown in the order in which they were given. */
function next(call) {
  const done = queue.then(call);
  queue = done.catch(() => false);
  return done;
}

/**
 * Make one decision; true when it is saved. Decisions go one after the other, in the order made. Fields
 * that depend on the one before are a function. `kept` is called when it is saved, before what it changed
 * is shown.
 */
export function act(name, fields = {}, kept = () => {}) {
  deciding += 1;
  acts += 1;
  return next(() => post(name, typeof fields === "function" ? fields() : fields, kept)).finally(() => (deciding -= 1));
}

/** How many decisions were begun in this window, answered or not. */
export function begun() {
  return acts;
}

/** Whether decisions are on their way that nobody has answered yet. */
export function isDeciding() {
  return deciding > 0;
}

/** Wait for all that was decided; false when the last of it was not saved. */
export function decided() {
  return queue;
}

/** Whether what was written here, or decided, is not saved yet. */
export function isUnsaved() {
  return isDeciding() || [view, ...document.querySelectorAll("dialog[open]")].some(written);
}

async function post(name, fields, kept) {
  let answer;
  try {
    answer = await fetch(`/act/${name}`, {
      method: "POST",
      headers: { Accept: "application/json", "Content-Type": "application/x-www-form-urlencoded" },
      body: new URLSearchParams({ ...fields, view: view.dataset.view, known: shown() }).toString(),
    });
  } catch {
    // It may have been written just before the line broke; only the record knows.
    lost("It is not known whether that was saved: the program does not answer. What was said to be saved is safe. Start it again with “evidence review” and look.");
    return false;
  }
  const told = await worded(answer);
  if (!answer.ok) {
    warn(`Not saved: ${told.problem} ${told.remedy ?? ""}`);
    await fetchChanged();
    return false;
  }
  warn("");
  kept();
  show(told.changed);
  say(told.line ? `${told.said} Saved as line ${told.line} of the record.` : told.said);
  return true;
}

async function worded(answer) {
  const text = await answer.text();
  try {
    return JSON.parse(text);
  } catch {
    return { problem: text || "the program gave no reason." };
  }
}

/** Ask for something that changes nothing; null when the program does not answer. */
export async function ask(address) {
  try {
    const answer = await fetch(address, { headers: { Accept: "application/json" } });
    if (answer.ok) return answer;
    if (answer.status === 409) {
      const told = await worded(answer);
      warn(`${told.problem} ${told.remedy ?? ""}`);
    }
    return null;
  } catch {
    return null;
  }
}

/** Say that a copy of a picture did not come: in the program's words where it gives a reason, else in these. */
export async function notShown(words, copy) {
  warn(words);
  await ask(copy);
}

/** Show the job as somebody has just said it stands, unless an answer shows it before its turn comes. */
function sync(heard) {
  latest = heard;
  syncing ??= next(() => {
    syncing = null;
    return latest === version ? null : fetchChanged();
  });
}

/** Which parts are shown, each with the digest of what it says. */
function shown() {
  return JSON.stringify(Object.fromEntries([...parts.children].map((part) => [part.id, part.dataset.digest])));
}

async function fetchChanged() {
  let told;
  try {
    const answer = await fetch(`/parts/${view.dataset.view}`, { method: "POST", body: shown() });
    if (!answer.ok) {
      const { problem, remedy } = await worded(answer);
      warn(`${problem} ${remedy ?? ""}`);
      return;
    }
    told = await answer.json();
  } catch {
    lost();
    return;
  }
  show(told);
}

function show(told) {
  version = told.version;
  const focused = document.activeElement;
  const place = focused?.getBoundingClientRect().top;
  const id = focused?.id;
  const frame = focused?.dataset?.frame;
  const home = focused?.closest?.(".part")?.id;
  const beside = home && ["next", "previous"].map((way) => document.getElementById(home)[`${way}ElementSibling`]?.id);
  refill(document.getElementById("head"), fragment(told.head));
  const open = new Set([...parts.querySelectorAll("details[open]")].map((one) => one.closest(".part").id));
  let before = null;
  for (const name of told.order) {
    let part = document.getElementById(name);
    if (told.parts[name] && !(part && typing(part))) {
      const fresh = fragment(told.parts[name]).firstElementChild;
      if (part?.contains(focused) && focused.matches("input, textarea")) {
        part.dataset.digest = fresh.dataset.digest;
        renew(part, fresh);
      } else {
        if (part) {
          keepPictures(part, fresh);
          part.replaceWith(fresh);
        }
        part = fresh;
      }
      if (open.has(name)) part.querySelector("details")?.setAttribute("open", "");
    }
    if (!part) continue;
    const there = before ? before.nextElementSibling : parts.firstElementChild;
    if (there !== part) parts.insertBefore(part, there);
    before = part;
  }
  for (const part of [...parts.children]) if (!told.order.includes(part.id) && !written(part)) part.remove();
  for (const call of changed) call();
  if (focused && !focused.isConnected) {
    const heir =
      (id && document.getElementById(id)) ||
      (frame && document.getElementById(`p-${frame}`)) ||
      [home, ...(beside ?? [])].map((name) => name && usable(document.getElementById(name))).find(Boolean) ||
      (home && view);
    if (heir && !heir.disabled) {
      heir.focus({ preventScroll: true });
      window.scrollBy({ top: heir.getBoundingClientRect().top - place, behavior: "instant" });
    }
  }
}

const usable = (part) => part?.querySelector("button:not([disabled]):not([tabindex='-1'])");

/** A part in which somebody is writing, or has unticked a proposal, is left as it is until that is saved. */
function typing(part) {
  const ticked = [...part.querySelectorAll("[data-overalls] [type=checkbox]")];
  return written(part) || ticked.some((field) => !field.checked);
}

/** Whether words stand somewhere that are not saved. */
function written(place) {
  return [...place.querySelectorAll("input:not([type=checkbox], [type=range]), textarea")].some((field) => field.value !== field.defaultValue);
}

/** Pictures that are there already stay, so that nothing flickers. */
function keepPictures(old, fresh) {
  const there = new Map([...old.querySelectorAll("img")].map((image) => [image.getAttribute("src"), image]));
  for (const image of fresh.querySelectorAll("img")) {
    const kept = there.get(image.getAttribute("src"));
    if (kept && kept.complete) {
      there.delete(image.getAttribute("src"));
      image.replaceWith(kept);
    }
  }
}

function fragment(html) {
  const holder = document.createElement("template");
  holder.innerHTML = html; // made by the program's own templates, which escape every name
  return holder.content;
}

/** Give what the server made as elements. */
export { fragment };

/** Say what is under way and keeps decisions waiting; "" when it is done, unless its own answer was said. */
function wait(doing) {
  if (said.textContent === waiting) say("");
  waiting = doing && `${doing}; looking goes on, and what is decided meanwhile is saved when that is done.`;
  if (waiting) say(waiting);
}

/** Listen for changes made elsewhere. */
export function listen() {
  const events = new EventSource("/events");
  events.onmessage = ({ data }) => {
    if (data.startsWith("stopped ")) warn(data.slice(8));
    else if (data.startsWith("busy ")) wait(data.slice(5));
    else {
      wait("");
      if (data !== version) sync(data);
    }
  };
  events.onerror = () => trouble.hidden && lost();
  // What was refused stays said until something else is done.
  events.onopen = () => unanswered && warn("");
  window.addEventListener("pagehide", () => events.close());
}
