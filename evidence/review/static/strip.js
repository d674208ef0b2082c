// The strips of pictures: where the focus is, what the keys mean there, and what unfolds.

import { beyond } from "./choosing.js";
import { awaited, isComing } from "./dialogs.js";
import { nameVisit, writeFinding } from "./chooser.js";
import { DISTANCES, atHand, attach, take } from "./hand.js";
import { goRound } from "./round.js";
import { askOfSentence } from "./spoken.js";
import { act, ask, fragment, whenChanged } from "./talk.js";
import { look } from "./viewer.js";

const view = document.getElementById("view");
const open = new Set();
// Two rows of pictures are fewer, on the widest screens too (3,840 pixels hold 20 in a row).
const NEAR = 60;

const shots = () => [...view.querySelectorAll(".shot")];
const frameOf = (shot) => Number(shot.dataset.frame);

function only(shot) {
  for (const other of view.querySelectorAll('.shot[tabindex="0"]')) other.tabIndex = -1;
  shot.tabIndex = 0;
}

function focus(shot) {
  if (!shot) return;
  only(shot);
  shot.focus();
}

/** Exactly one picture is reached with Tab; the arrow keys go on from there. */
function settle() {
  if (!view.querySelector('.shot[tabindex="0"]')) {
    const first = view.querySelector(".shot");
    if (first) first.tabIndex = 0;
  }
  for (const frame of [...open]) {
    const button = view.querySelector(`[data-fold="${frame}"]`);
    if (!button) open.delete(frame);
    else if (button.getAttribute("aria-expanded") === "false") unfold(frame);
  }
}

async function unfold(frame) {
  open.add(frame);
  const button = view.querySelector(`[data-fold="${frame}"]`);
  const answer = await ask(`/fold/${frame}`);
  if (!button?.isConnected || !answer || button.getAttribute("aria-expanded") === "true") return;
  const rows = [...fragment(await answer.text()).children];
  button.setAttribute("aria-expanded", "true");
  button.closest(".cell").after(...rows);
  for (const row of rows) row.dataset.of = frame;
}

function foldAgain(frame) {
  open.delete(frame);
  for (const row of view.querySelectorAll(`[data-of="${frame}"]`)) row.remove();
  view.querySelector(`[data-fold="${frame}"]`)?.setAttribute("aria-expanded", "false");
}

function turn(frame) {
  const button = view.querySelector(`[data-fold="${frame}"]`);
  if (!button) return;
  if (button.getAttribute("aria-expanded") === "true") foldAgain(frame);
  else unfold(frame);
}

function openWhole(shot) {
  const series = [...new Set(shots().map(frameOf))];
  return look(series, frameOf(shot));
}

function roomOf(shot) {
  const heading = shot.closest(".visit")?.querySelector("h2");
  return heading?.querySelector(".nameless") ? "" : (heading?.firstChild?.textContent ?? "").trim();
}

/** Let the visit begin one picture earlier or later. */
function shift(shot, by) {
  const visit = shot.closest(".visit");
  // What is unfolded stands out of its time, and may stand in its place too.
  const all = [...view.querySelectorAll(".visit > .body > .strip > .cell .shot")].map(frameOf);
  const first = Number(visit.dataset.first);
  const to = all[all.indexOf(first) + by];
  if (to) act("move", { frame: first, to });
}

function visitBy(shot, by) {
  const visits = [...view.querySelectorAll(".visit")];
  const next = visits[visits.indexOf(shot.closest(".visit")) + by];
  focus(next?.querySelector(".shot"));
  next?.scrollIntoView({ block: "start" });
}

/** Whether all of these pictures are what a key would make of them already, so that it takes that back. */
const are = (frames, what) => frames.every((frame) => view.querySelector(`.shot[data-frame="${frame}"][data-${what}]`));

const doubts = () => {
  const details = view.querySelector(".doubts");
  if (!details) return;
  details.open = true;
  details.querySelector("button")?.focus();
};

/** The picture above or below; only so many are measured, for measuring what is far off sets it in its place. */
function neighbour(all, at, down) {
  const from = down ? at : Math.max(0, at - NEAR);
  const near = all.slice(from, down ? at + NEAR + 1 : at + 1);
  const place = beyond(near.map((one) => one.getBoundingClientRect()), at - from, down);
  return place < 0 ? undefined : near[place];
}

function onShot(event, shot) {
  if (isComing()) {
    event.preventDefault();
    return;
  }
  const frame = frameOf(shot);
  const held = atHand(frame);
  const frames = held.join(",");
  const all = shots();
  const at = all.indexOf(shot);
  const first = Number(shot.closest(".visit")?.dataset.first ?? 0);
  const keys = {
    ArrowRight: () => focus(all[at + 1]),
    ArrowLeft: () => focus(all[at - 1]),
    ArrowDown: () => focus(neighbour(all, at, true)),
    ArrowUp: () => focus(neighbour(all, at, false)),
    ".": () => visitBy(shot, 1),
    ",": () => visitBy(shot, -1),
    Enter: () => awaited(openWhole(shot)),
    " ": () => take(frame),
    w: () => writeFinding(frame, roomOf(shot)),
    s: () => awaited(askOfSentence(frame)),
    // An overall view is no thing of the round: from a room's first picture it goes on to the next one that is.
    g: () => awaited(goRound([frame, Number(shot.closest("[data-of]")?.dataset.of ?? frame), ...all.slice(at).map(frameOf)])),
    r: () => first && awaited(nameVisit(first)),
    n: () => act("begins", { frame, on: "yes" }),
    j: () => first && act("begins", { frame: first, on: "no" }),
    "[": () => shift(shot, -1),
    "]": () => shift(shot, 1),
    d: doubts,
    u: () => turn(frame),
    f: () => act("front", { frame }),
    x: () => act("apart", { frames }),
    v: () => act("overall", { frames, on: are(held, "overall") ? "no" : "yes" }),
    t: () => act("light", { frames, to: are(held, "taken") ? "proposed" : "as taken" }),
    "?": () => document.getElementById("show-keys").click(),
  };
  if (/^[1-6]$/.test(event.key)) attach(frame, DISTANCES[Number(event.key) - 1]);
  else if (keys[event.key]) keys[event.key]();
  else return;
  event.preventDefault();
}

view.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const shot = event.target.closest(".shot");
  if (shot) onShot(event, shot);
});

view.addEventListener("focusin", (event) => {
  if (event.target.matches(".shot")) only(event.target);
});

view.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.matches(".shot")) openWhole(button);
  else if (button.dataset.take) take(Number(button.dataset.take));
  else if (button.dataset.fold) turn(Number(button.dataset.fold));
  else if (button.dataset.name) nameVisit(Number(button.dataset.name));
});

whenChanged(settle);
export { settle, focus as focusShot };
