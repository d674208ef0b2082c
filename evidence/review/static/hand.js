// What is at hand: the pictures taken, and the finding that is being given pictures. Kept for this
// window only; none of it is a decision.

import { made, refill } from "./made.js";
import { act, whenChanged } from "./talk.js";

export const DISTANCES = ["overall", "mid-range", "close-up", "close-up with scale", "data plate", "obstruction"];

const bar = document.getElementById("hand");
const words = document.getElementById("held");
const acts = document.getElementById("hold-acts");
const held = new Set(JSON.parse(sessionStorage.getItem("held") ?? "[]"));
let finding = Number(sessionStorage.getItem("finding") ?? 0);

/** The pictures at hand, else the one given. */
export function atHand(frame) {
  return held.size ? [...held] : frame ? [frame] : [];
}

/** Number of the finding at hand, 0 for none. */
export function findingAtHand() {
  return finding;
}

export function take(frame) {
  if (held.has(frame)) held.delete(frame);
  else held.add(frame);
  keep();
}

export function putDown() {
  held.clear();
  keep();
}

export function setFinding(number) {
  finding = number;
  keep();
}

/** Take the finding that was written last in hand, and put its pictures down; its number. */
export function takeNewest() {
  setFinding(Math.max(...known().map(([number]) => number)));
  putDown();
  return finding;
}

/** Attach the pictures at hand, or the one given, to the finding at hand. */
export async function attach(frame, distance) {
  const frames = atHand(frame);
  if (!frames.length || !finding) return false;
  const saved = await act("attach", { finding, frames: frames.join(","), distance });
  if (saved) putDown();
  return saved;
}

function keep() {
  sessionStorage.setItem("held", JSON.stringify([...held]));
  sessionStorage.setItem("finding", String(finding));
  show();
}

function known() {
  return [...document.querySelectorAll("#finding-list option")].map((o) => [Number(o.value), o.textContent]);
}

/** A button of the bar, where it can do something; else nothing, so that the bar stays small. */
function button(id, key, label, fits, onclick) {
  return fits ? made("button", { type: "button", id, onclick }, key && made("kbd", {}, key), `${key && " "}${label}`) : null;
}

function press(taker, on) {
  taker.setAttribute("aria-pressed", String(on));
  taker.closest(".cell").classList.toggle("held", on);
}

function show() {
  // Only what differs is touched: thousands of pictures may be shown, and each touch is a new style.
  for (const taker of document.querySelectorAll('.take[aria-pressed="true"]'))
    if (!held.has(Number(taker.dataset.take))) press(taker, false);
  for (const frame of held)
    for (const taker of document.querySelectorAll(`[data-take="${frame}"][aria-pressed="false"]`)) press(taker, true);
  const findings = known();
  if (!findings.some(([number]) => number === finding)) finding = findings.at(-1)?.[0] ?? 0;
  const there = document.getElementById("view").dataset.view === "walk";
  bar.hidden = !there;
  if (!there) return;
  const frames = [...held];
  words.textContent = frames.length ? `At hand: ${frames.join(", ")}` : "Nothing at hand: Space takes a picture.";
  const some = frames.length > 0;
  const list = frames.join(",");
  const one = frames.length === 1 ? frames[0] : 0;
  const chosen = made(
    "select",
    { id: "hand-finding", "aria-label": "Finding at hand", onchange: (e) => setFinding(Number(e.target.value)) },
    ...findings.map(([number, text]) => made("option", { value: number, selected: number === finding }, text)),
  );
  const keepFocus = document.activeElement?.id;
  refill(
    acts,
    findings.length ? chosen : made("span", { class: "quiet" }, "No finding yet."),
    ...DISTANCES.map((distance, at) => button(`as-${at + 1}`, String(at + 1), distance, some && finding, () => attach(0, distance))),
    made("button", { type: "button", id: "hand-new", "data-open": "maker" }, made("kbd", {}, "w"), " write a finding"),
    button("hand-view", "v", "overall view of its room", some, () => act("overall", { frames: list, on: "yes" })),
    button("hand-new-visit", "n", "new visit from here", one, () => act("begins", { frame: one, on: "yes" })),
    button("hand-move", "", "visit begins here instead", one, () => moveTo(one)),
    button("hand-front", "f", "in front", one, () => act("front", { frame: one })),
    button("hand-apart", "x", "not alike", some, () => act("apart", { frames: list })),
    button("hand-down", "", "put down", some, putDown),
  );
  if (keepFocus && keepFocus !== document.activeElement?.id)
    (document.getElementById(keepFocus) ?? document.getElementById("hand-new")).focus();
}

/** Move the nearer border of the picture's visit to it: the visit that begins next, or its own. */
function moveTo(frame) {
  const visit = document.getElementById(`p-${frame}`)?.closest(".visit");
  if (!visit) return;
  const shots = [...visit.querySelectorAll(".shot")];
  const at = shots.findIndex((shot) => Number(shot.dataset.frame) === frame);
  const later = [...document.querySelectorAll(".visit")];
  const next = later[later.indexOf(visit) + 1];
  const first = at > shots.length / 2 && next ? next.dataset.first : visit.dataset.first;
  act("move", { frame: first, to: frame });
}

whenChanged(show);
export { show as showHand };
