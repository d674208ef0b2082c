// Joins the parts of the page; what is common to all views.

import "./clicks.js";
import { nameVisits, nextNameless, writeFinding } from "./chooser.js";
import { composing, goesOn } from "./choosing.js";
import { open } from "./dialogs.js";
import "./forms.js";
import { setFinding, showHand } from "./hand.js";
import { KEYS } from "./keys.js";
import { made, refill } from "./made.js";
import { focusShot, settle } from "./strip.js";
import { atOnce, lookTogether } from "./spread.js";
import { goRound } from "./round.js";
import { act, decided, isDeciding, isUnsaved, listen, notShown, say, whenChanged } from "./talk.js";
import { look } from "./viewer.js";

const keys = document.getElementById("keys");

document.addEventListener("click", (event) => {
  const button = event.target.closest("button, [data-look-at]");
  if (!button) return;
  const { act: name, ...rest } = button.dataset;
  if (name === "undo" || name === "redo") takeBack(name);
  else if (name) {
    const { slow, along, ...fields } = rest;
    if (slow) say(slow);
    const field = along && document.getElementById(along);
    if (field) fields[field.name] = field.value;
    act(name, fields).then((saved) => saved || !slow || say(""));
  } else if (button.dataset.look) {
    const frames = button.dataset.look.split(",").map(Number);
    look(frames, frames[0], { proof: true });
  } else if (button.dataset.together) lookTogether(button.dataset.together.split(",").map(Number));
  else if (button.dataset.lookAt) look([Number(button.dataset.lookAt)], Number(button.dataset.lookAt), { proof: true });
  else if (button.dataset.open === "maker") writeFinding(0, "");
  else if (button.dataset.open === "round") goRound();
  else if (button.dataset.open === "namer") nameVisits();
  else if (button.id === "show-keys") help();
});

// To another view only when all that was decided here is answered: what still waited its turn would be lost
// with the page, and so would be the reason why something was not saved.
document.addEventListener("click", (event) => {
  const way = event.target.closest("a[href^='/']");
  if (!way || !isDeciding() || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  decided().then((saved) => saved !== false && location.assign(way.href));
});

// The browser asks before words that are not saved go with the page.
window.addEventListener("beforeunload", (event) => isUnsaved() && event.preventDefault());

// A key that is held down says what it means once: a decision must not be made thirty times a second. Only
// what moves or types goes on. A key that puts a word together (Chinese, Japanese, Korean) is the input
// method's alone: its Enter takes the word. In the capture phase, so that nothing below hears of it.
document.addEventListener(
  "keydown",
  (event) => {
    const theirs = composing(event);
    if (!theirs && (!event.repeat || goesOn(event))) return;
    if (!theirs) event.preventDefault();
    event.stopImmediatePropagation();
  },
  true,
);

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
  if (event.target.matches("textarea, input:not([type=checkbox]):not([type=range])")) return;
  event.preventDefault();
  takeBack(event.shiftKey ? "redo" : "undo");
});

// What is open in full size says itself when it does not come.
document.addEventListener("error", ({ target }) => target.tagName === "IMG" && !target.closest("#viewer, #spread") && missed(target), true);

/**
 * A picture that came too late to be read is asked for once more; one that does not come then stands as one
 * that cannot be shown, with the program's reason.
 */
function missed(image) {
  const copy = image.getAttribute("src");
  if (!image.dataset.again) {
    image.dataset.again = "yes";
    setTimeout(() => (image.src = `${copy}?again`), 1500);
    return;
  }
  image.replaceWith(made("span", { class: "blank" }, "cannot be shown"));
  if (document.getElementById("trouble").hidden) notShown("A picture cannot be shown just now.", copy);
}

/** Undo or redo what its button names; read when its turn comes, for the act before may name another. */
function takeBack(name) {
  act(name, () => ({ line: document.getElementById(name).dataset.line }));
}

function help() {
  refill(
    keys,
    made("h2", { id: "keys-title" }, "Keys"),
    made("p", { class: "quiet" }, "Letters act only while a picture has the focus. Everything is also a button."),
    made("p", { class: "row" }, made("button", { type: "button", onclick: () => keys.close() }, "Back ", made("kbd", {}, "Esc"))),
    made(
      "div",
      { class: "key-lists" },
      ...KEYS.map(([title, rows]) =>
        made(
          "section",
          {},
          made("h3", {}, title),
          made("dl", {}, ...rows.flatMap(([key, words]) => [made("dt", {}, made("kbd", {}, key)), made("dd", {}, words)])),
        ),
      ),
    ),
  );
  open(keys);
}

/** Go to the place that an address names: a picture, a visit, or a finding that wants pictures. */
function arrive() {
  const name = decodeURIComponent(location.hash.slice(1));
  const [, finding, at] = /^finding-(\d+)(?:-(.+))?$/.exec(name) ?? [];
  if (finding) setFinding(Number(finding));
  const place = document.getElementById(at ?? name);
  if (!place) return;
  place.scrollIntoView({ block: "start" });
  if (place.matches(".shot")) focusShot(place);
  else if (place.matches("button, textarea")) place.focus({ preventScroll: true });
  else (place.querySelector(".shot[tabindex='0'], .shot") ?? place.querySelector("textarea, button"))?.focus({ preventScroll: true });
}

/** Looking at several at once is offered where the screen shows each as large as it prints. */
function offerTogether() {
  const button = document.getElementById("look-together");
  if (!button) return;
  const count = Math.min(atOnce(), button.dataset.together.split(",").length);
  button.hidden = count < 2;
  button.textContent = `Look at them ${count} at a time`;
}

/** Naming begins at the first visit without a name, where there is one. */
function offerNames() {
  const button = document.getElementById("name-visits");
  if (button) button.hidden = !nextNameless(0);
}

/** What stands at the foot of the window never covers the end of the page, or the place that has the focus. */
const foot = document.getElementById("foot");
new ResizeObserver(() => document.documentElement.style.setProperty("--foot", `${foot.offsetHeight}px`)).observe(foot);

settle();
showHand();
arrive();
offerTogether();
offerNames();
whenChanged(offerTogether);
whenChanged(offerNames);
window.addEventListener("resize", offerTogether);
window.addEventListener("hashchange", arrive);
listen();
// Some have come to nothing before this script was there to hear of it.
for (const image of document.images) if (image.complete && !image.naturalWidth) missed(image);
document.documentElement.dataset.ready = "yes";
