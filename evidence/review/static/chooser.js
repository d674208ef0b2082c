// Two small questions with offered answers: what a visit is called, and what finding this is.

import { fitting, placeOf, stepped } from "./choosing.js";
import { awaited, open } from "./dialogs.js";
import { finder } from "./finder.js";
import { DISTANCES, atHand, takeNewest } from "./hand.js";
import { made, refill } from "./made.js";
import { act, ask, lift } from "./talk.js";

const namer = document.getElementById("namer");
const maker = document.getElementById("maker");

const visitOf = (frame) => document.querySelector(`.visit[data-first="${frame}"]`);

/** The first picture of the nameless visit that comes next, or of the day's first; 0 when none does. */
export function nextNameless(frame) {
  const visits = [...document.querySelectorAll(".visit")];
  const next = visits.slice(visits.indexOf(visitOf(frame)) + 1).find((visit) => visit.querySelector(".nameless"));
  return Number(next?.dataset.first ?? 0);
}

/** Ask for the name of the nameless visit that comes next, if there is one. */
export async function nameVisits(after = 0) {
  const next = nextNameless(after);
  if (!next) return;
  visitOf(next).scrollIntoView({ block: "start" });
  await nameVisit(next);
}

/**
 * Ask what the visit that begins with a picture is called; a digit takes an offered name at once, also
 * after letters that narrow the offers. After a space or another digit it is part of a name.
 * From a nameless visit it goes on to the next nameless one.
 */
export async function nameVisit(frame) {
  const goesOn = Boolean(visitOf(frame)?.querySelector(".nameless"));
  const answer = await ask(`/offers/${frame}`);
  const offers = answer ? await answer.json() : [];
  let at = 0;
  const list = made("ol", { class: "offers", id: "namer-offers" });
  const input = made("input", { id: "namer-name", autocomplete: "off", "aria-controls": "namer-offers" });
  const take = async (name) => {
    if (!name.trim()) return;
    namer.close();
    const saved = act("room", { frame, name });
    const settled = saved.then((done) => (done ? goesOn && nameVisits(frame) : again(namer, input)));
    if (goesOn) await awaited(settled);
  };
  const shown = () => fitting(offers, input.value).slice(0, 9);
  const show = () =>
    refill(
      list,
      ...shown().map(({ name, reason }, place) =>
        made(
          "li",
          {},
          made(
            "button",
            { type: "button", class: place === at ? "likeliest" : "", onclick: () => take(name) },
            made("kbd", {}, String(place + 1)),
            ` ${name} `,
            reason && made("span", { class: "quiet" }, reason),
          ),
        ),
      ),
    );
  input.addEventListener("input", () => {
    at = input.value ? -1 : 0;
    show();
  });
  input.addEventListener("keydown", (event) => {
    const place = /[\s\d]$/.test(input.value) ? -1 : placeOf(event.key, shown().length);
    if (place >= 0) take(shown()[place].name);
    else if (event.key === "ArrowDown") at = stepped(at, 1, shown().length);
    else if (event.key === "ArrowUp") at = stepped(at, -1, shown().length);
    else if (event.key === "Enter") take(at >= 0 && shown()[at] ? shown()[at].name : input.value);
    else return;
    event.preventDefault();
    show();
  });
  refill(
    namer,
    made("h2", { id: "namer-title" }, "Which room is this?"),
    made("p", { class: "glance" }, ...glance(frame)),
    made("label", { for: "namer-name" }, "A number takes an offered name, a few letters narrow them; or type one"),
    input,
    list,
    made(
      "p",
      { class: "row" },
      made("button", { type: "button", id: "namer-take", onclick: () => take(input.value || shown()[0]?.name || "") }, "Name it"),
      made("button", { type: "button", onclick: () => namer.close() }, "Leave it"),
    ),
  );
  show();
  namer.dataset.frame = String(frame);
  open(namer);
  input.focus();
}

/** Ask once more, with what was typed, after it was not saved; unless something else is asked meanwhile. */
function again(question, input) {
  if (!input.isConnected || document.querySelector("dialog[open]")) return;
  open(question);
  input.focus();
  lift();
}

/** The first pictures of a visit, small, as they are on the page already. */
function glance(frame) {
  return [...(visitOf(frame)?.querySelectorAll(".shot img") ?? [])].slice(0, 6).map((image) => {
    const copy = image.cloneNode();
    copy.loading = "eager";
    return copy;
  });
}

/** Ask what was seen; offers standard findings for a few letters, misspelt ones too. */
export function writeFinding(frame = 0, room = "") {
  const frames = atHand(frame);
  const distance = made(
    "select",
    { id: "maker-distance" },
    made("option", { value: "" }, "distance not said"),
    ...DISTANCES.map((word) => made("option", { value: word }, word)),
  );
  const make = async (row, typed) => {
    if (!maker.open) return;
    if (!row && !typed.trim()) {
      input.focus();
      return;
    }
    maker.close();
    const fields = row ? { standard: row.id } : { seen: typed };
    const saved = await act("add", { ...fields, room, frames: frames.join(","), distance: distance.value });
    if (!saved) again(maker, input);
    else {
      const number = takeNewest();
      const made_ = document.getElementById(`f${number}-seen`);
      if (made_ && document.getElementById("view").dataset.view === "findings") made_.focus();
    }
  };
  const { input, list } = finder("maker", make, (count) => {
    maker.dataset.found = String(count);
  });
  refill(
    maker,
    made("h2", { id: "maker-title" }, "What was seen?"),
    made("label", { for: "maker-seen" }, "A few letters find a standard finding; or write a sentence of your own"),
    input,
    list,
    made(
      "p",
      { class: "quiet" },
      frames.length ? `With picture ${frames.join(", ")} ` : "Without a picture yet. ",
      frames.length ? made("label", { for: "maker-distance", class: "hidden" }, "Distance") : "",
      frames.length ? distance : "",
    ),
    made(
      "p",
      { class: "row" },
      made("button", { type: "button", id: "maker-own", onclick: () => make(null, input.value) }, "In your own words ", made("kbd", {}, "Ctrl Enter")),
      made("button", { type: "button", onclick: () => maker.close() }, "Leave it"),
    ),
  );
  maker.dataset.found = "";
  open(maker);
  input.focus();
}
