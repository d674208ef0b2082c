// The round: one thing of the day after the other, its pictures with their proposed distances, and the
// question what was seen. Nothing is decided but by Enter, and only of what is shown.

import { open } from "./dialogs.js";
import { finder } from "./finder.js";
import { DISTANCES, takeNewest } from "./hand.js";
import { address, sheet } from "./ink.js";
import { made, refill } from "./made.js";
import { act, ask, lastSaid, say } from "./talk.js";
import { following, lined, placeOfFrames, preceding, stretched, taken } from "./things.js";

const round = document.getElementById("round");
let line = [];
let held = { from: 0, to: 0 };
let chosen = -1;
let wide = 0;
let out = new Set();
let distances = {};
let field = null;
let writing = false;

/** Begin the round with the thing that holds the first of these pictures, or with the first that has no finding. */
export async function goRound(wanted = []) {
  if (!(await fetched())) return;
  if (!line.length) {
    say("There is nothing to go through: overall views, room cards and what shows nothing are passed by.");
    return;
  }
  hold(taken(line, placeOfFrames(line, wanted)));
}

async function fetched() {
  const answer = await ask("/round");
  if (!answer) return false;
  line = lined(await answer.json());
  return true;
}

/** Show what is held, the proposals anew. */
function hold(now) {
  held = now;
  chosen = -1;
  wide = 0;
  out = new Set();
  distances = {};
  for (const { thing } of views()) Object.assign(distances, thing.distances);
  field = finder("round", write, (count) => {
    round.dataset.found = String(count);
  }, meant());
  field.input.setAttribute("aria-describedby", "round-keys");
  round.dataset.found = "";
  round.dataset.at = String(frames()[0]);
  show();
  if (!round.open) open(round);
  reveal();
  field.input.focus({ preventScroll: true });
}

const views = () => line.slice(held.from, held.to + 1);

/** The overall view and others of that view which are not shown anyway. */
function overalls() {
  const own = views().flatMap((view) => view.frames);
  return line[held.from].thing.overall.filter((frame) => !own.includes(frame));
}

function frames() {
  const own = views().flatMap((view) => view.frames);
  return [...overalls().slice(0, wide), ...own];
}

const picture = (frame) => views().map(({ thing }) => thing.pictures[frame]).find(Boolean);

const sentences = () => [...new Map(views().flatMap(({ thing }) => thing.said).map((one) => [one.number, one])).values()];

/** What the sentences said of these pictures may mean: the first of them that is like a finding. */
function meant() {
  const one = sentences().find(({ offers }) => offers.length);
  return (one?.offers ?? []).map((offer) => ({ ...offer, sentence: one.number, reason: `${offer.standard}, ${offer.reason}, as said` }));
}

const kept = () => frames().filter((frame) => !out.has(frame));

const joined = () => [...new Map(views().flatMap(({ thing }) => thing.kin).map((one) => [one.number, one])).values()];

function show() {
  const { thing } = line[held.from];
  const spoken = meant().length > 0;
  const kin = joined()[0];
  const button = (id, words, onclick, key, disabled = false) =>
    made("button", { type: "button", id, onclick, disabled }, made("kbd", {}, key), ` ${words}`);
  refill(
    round,
    made("h2", { id: "round-title" }, "What do these show?"),
    made("p", { class: "quiet" }, [thing.room || "nameless visit", picture(frames().at(-1)).when, placed()].join(" · ")),
    made("ol", { class: "things" }, ...frames().map(cell)),
    made(
      "div",
      { class: "asked" },
      // With the field, so that what it offers never covers the words that it was offered for.
      made("div", {}, ...sentences().map(({ words }) => made("p", { class: "spoken" }, made("q", {}, words)))),
      made(
        "div",
        {},
        made("label", { for: "round-seen" }, `A few letters find a standard finding, Enter writes it with these pictures; nothing typed, Enter ${spoken ? "writes the marked one that was said" : "goes on"}`),
        field.input,
      ),
      field.list,
    ),
    made(
      "p",
      { class: "row", id: "round-keys" },
      button("round-more", "next view too", () => stretch(1), "+", stretched(line, held, 1).to === held.to),
      button("round-less", "without the last", () => stretch(-1), "−", held.to === held.from),
      button("round-wide", widening(), widen, "0", !overalls().length),
      kin ? button("round-kin", `to finding ${kin.number}: ${kin.seen}`, () => join(kin), "=") : "",
      made("span", { class: "quiet" }, made("kbd", {}, "1"), " … ", made("kbd", {}, "6"), " from how far: all, or the one chosen with ", made("kbd", {}, "← →")),
    ),
    made(
      "p",
      { class: "row" },
      button("round-own", "in your own words", () => write(null, field.input.value), "Ctrl Enter"),
      // A double click passes by one thing: there is nothing to report of what was looked at.
      button("round-next", "nothing to report, go on", (event) => event.detail > 1 || go(following(line, held)), spoken ? "Page Down" : "Enter"),
      button("round-before", "before", () => go(preceding(line, held)), "Page Up", preceding(line, held) < 0),
      button("round-close", "back", () => round.close(), "Esc"),
      lastSaid(),
    ),
  );
}

/** However much was said, the field is in sight: in a small window what was said first gives way. */
function reveal() {
  const asked = round.querySelector(".asked");
  const below = field.input.getBoundingClientRect().bottom - asked.getBoundingClientRect().bottom;
  if (below > -8) asked.scrollTop += below + 8;
}

/** Where in the day these views are. */
function placed() {
  const [from, to] = [held.from + 1, held.to + 1];
  return `${from === to ? `view ${from}` : `views ${from} to ${to}`} of the day's ${line.length}`;
}

function cell(frame, place) {
  const one = picture(frame);
  const words = out.has(frame) ? "left out" : distances[frame];
  const select = made(
    "select",
    { id: `round-how-${frame}`, "aria-label": `Picture ${frame}: from how far`, onchange: (event) => measure(place, event.target.value) },
    ...DISTANCES.map((word) => made("option", { selected: word === distances[frame] }, word)),
  );
  const frame_ = made("span", { class: "frame" }, made("img", { src: address(one, one.light, "screen"), alt: "" }), sheet(one));
  frame_.style.setProperty("--ratio", String(one.width / one.height));
  return made(
    "li",
    { class: `thing${out.has(frame) ? " out" : ""}${place === chosen ? " chosen" : ""}` },
    made(
      "button",
      {
        type: "button",
        id: `round-${frame}`,
        class: "shot",
        "aria-pressed": String(!out.has(frame)),
        "aria-label": `${one.label}, ${words}`,
        onclick: () => leave(place),
      },
      frame_,
    ),
    made("p", { class: "under" }, made("b", {}, String(frame)), ...one.said.map((word) => made("span", { class: "word" }, word))),
    out.has(frame) ? made("p", {}, "left out") : select,
  );
}

/** Show it again as it is now, what is typed and where the focus is kept. */
function again() {
  const name = round.contains(document.activeElement) ? document.activeElement.id : "";
  show();
  reveal();
  const place = document.getElementById(name);
  (place && !place.disabled ? place : field.input).focus({ preventScroll: true });
}

function stretch(by) {
  held = stretched(line, held, by);
  for (const { thing } of views()) distances = { ...thing.distances, ...distances };
  again();
}

/** What the next press of the key does: one overall view more, and after the last none. */
function widening() {
  if (!wide) return "with the overall view";
  return wide < overalls().length ? "one more of the overall view" : "without the overall view";
}

function widen() {
  const all = overalls();
  if (!all.length) return;
  wide = wide < all.length ? wide + 1 : 0;
  chosen = -1;
  for (const frame of all) distances[frame] = DISTANCES[0];
  again();
}

function leave(place) {
  const frame = frames()[place];
  if (!out.delete(frame)) out.add(frame);
  again();
}

function measure(place, word) {
  for (const frame of place < 0 ? frames() : [frames()[place]]) distances[frame] = word;
  again();
}

function choose(by) {
  const count = frames().length;
  chosen = chosen < 0 ? (by < 0 ? count - 1 : 0) : (chosen + by + count) % count;
  again();
}

function go(place) {
  if (place >= 0) {
    hold(taken(line, place));
    return;
  }
  round.close();
  say("That was the last thing of the day.");
}

/** Write a finding with what is shown, and go on. */
async function write(row, typed) {
  if (writing || !round.open) return;
  if (!row && !typed.trim()) {
    go(following(line, held));
    return;
  }
  if (row?.sentence) await attached("accept", { sentence: row.sentence, standard: row.standard, words: "standard" });
  else await attached("add", row ? { standard: row.id, room: line[held.from].thing.room } : { seen: typed, room: line[held.from].thing.room });
}

function join(kin) {
  return attached("attach", { finding: kin.number });
}

async function attached(name, fields) {
  if (writing) return;
  writing = true;
  const shown = kept();
  const last = line[held.to].frames.at(-1);
  const saved = await act(name, { ...fields, frames: shown.join(","), distances: shown.map((frame) => distances[frame]).join(",") });
  writing = false;
  if (!saved) return;
  if (name !== "attach") takeNewest();
  if (!(await fetched()) || !round.open) return;
  // The day is laid out anew and may be shorter: go on behind the picture that was the last one.
  const to = line.findLastIndex((view) => view.frames.includes(last));
  go(following(line, { to: to < 0 ? held.to : to }));
}

const KEYS = {
  "+": () => stretch(1),
  "-": () => stretch(-1),
  "−": () => stretch(-1),
  0: widen,
  "=": () => joined()[0] && join(joined()[0]),
  ArrowLeft: () => choose(-1),
  ArrowRight: () => choose(1),
  Delete: () => chosen >= 0 && leave(chosen),
};

round.addEventListener(
  "keydown",
  (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const typing = event.target === field?.input;
    if (event.key === "PageDown") go(following(line, held));
    else if (event.key === "PageUp") preceding(line, held) >= 0 && go(preceding(line, held));
    else if (event.target.matches("select") || (typing && field.input.value)) return;
    else if (/^[1-6]$/.test(event.key)) measure(chosen, DISTANCES[Number(event.key) - 1]);
    else if (KEYS[event.key]) KEYS[event.key]();
    else return;
    event.preventDefault();
  },
  true,
);
