// Several printed pictures side by side, each at least as large as it prints, ticked with one key. The
// tick waits until every pixel of each of them has come.

import { open } from "./dialogs.js";
import { grid } from "./columns.js";
import { address, sheet } from "./ink.js";
import { made, refill } from "./made.js";
import { act, ask, notShown, say, whenChanged } from "./talk.js";
import { look } from "./viewer.js";

const spread = document.getElementById("spread");
const BAR = 88;
let series = [];
let at = 0;
let shown = [];
let ticking = false;

/** How many pictures one spread holds on this screen. */
export function atOnce(most = 6) {
  return grid(window.innerWidth, window.innerHeight - BAR, most).count;
}

/** Open the spreads of some pictures, from the first of them on. */
export function lookTogether(frames) {
  series = frames;
  at = 0;
  load();
}

const here = () => series.slice(at, at + atOnce());

async function load() {
  const wanted = here();
  const found = await Promise.all(wanted.map(told));
  if (wanted.join() !== here().join() || found.includes(null)) return; // others have been asked for meanwhile
  shown = found;
  show();
  if (!spread.open) open(spread);
  document.getElementById("spread-all").focus({ preventScroll: true });
  for (const frame of series.slice(at + wanted.length, at + 2 * wanted.length))
    told(frame).then((next) => next && !next.fault && (new Image().src = address(next, next.light, "whole")));
}

async function told(frame) {
  const answer = await ask(`/picture/${frame}`);
  return answer && answer.json();
}

function show() {
  const tick = made("button", { type: "button", id: "spread-tick", class: "likeliest", disabled: true, onclick: looked }, `${shown.length > 1 ? `All ${shown.length} l` : "L"}ooked at, nothing unreported `, made("kbd", {}, "l"));
  const figures = shown.map((picture, place) => figure(picture, place));
  const size = grid(window.innerWidth, window.innerHeight - BAR, 6);
  const all = made("div", { id: "spread-all", class: "spread", tabindex: "0", role: "group", "aria-label": `Pictures ${shown.map((p) => p.frame).join(", ")}` }, ...figures.map(([element]) => element));
  all.style.setProperty("--columns", String(Math.min(size.columns, shown.length)));
  all.style.setProperty("--rows", String(Math.ceil(shown.length / size.columns)));
  refill(
    spread,
    made(
      "div",
      { class: "row bar" },
      made("h2", { id: "spread-title" }, `Pictures ${shown.map((p) => p.frame).join(", ")}`),
      made("span", { class: "quiet" }, `${at + 1} to ${at + shown.length} of ${series.length} to look at; a number opens one alone`),
      made("button", { type: "button", id: "spread-before", disabled: at === 0, onclick: () => go(-1) }, "before ", made("kbd", {}, "←")),
      made("button", { type: "button", id: "spread-next", disabled: at + shown.length >= series.length, onclick: () => go(1) }, "after ", made("kbd", {}, "→")),
      tick,
      made("button", { type: "button", id: "spread-close", onclick: () => spread.close() }, "back ", made("kbd", {}, "Esc")),
    ),
    all,
  );
  const mine = shown;
  Promise.all(figures.map(([, whole]) => whole)).then(
    () => mine === shown && (tick.disabled = false),
    (copy) => notShown("A picture cannot be shown whole just now; go on to others and come back.", copy),
  );
}

/** A picture with its marks as it prints, and the promise that all of it has come. */
function figure(picture, place) {
  const image = made("img", { src: address(picture, picture.light, "screen"), alt: picture.label });
  const large = new Image();
  const whole = new Promise((came, failed) => {
    large.onload = () => {
      image.src = large.src;
      came();
    };
    large.onerror = () => failed(large.src);
  });
  large.src = address(picture, picture.light, "whole");
  const frame = made("div", { class: "frame" }, image, sheet(picture));
  frame.style.setProperty("--ratio", String(picture.width / picture.height));
  const caption = [picture.room || "nameless visit", ...picture.said, picture.looked && "looked at"].filter(Boolean).join(" · ");
  return [
    made(
      "figure",
      {},
      frame,
      made(
        "figcaption",
        {},
        made("button", { type: "button", id: `alone-${place + 1}`, "aria-label": `Open picture ${picture.frame} alone`, onclick: () => alone(place) }, made("kbd", {}, String(place + 1)), ` ${picture.frame}`),
        ` ${caption}`,
      ),
    ),
    whole,
  ];
}

function alone(place) {
  const picture = shown[place];
  if (picture) look(shown.map((one) => one.frame), picture.frame, { proof: true });
}

function go(by) {
  const to = at + by * atOnce();
  if (to >= series.length || (to < 0 && at === 0)) return;
  at = Math.max(0, to);
  load();
}

async function looked() {
  if (ticking || document.getElementById("spread-tick").disabled) return;
  ticking = true;
  const frames = shown.map((picture) => picture.frame).join(",");
  const saved = await act("looked", { frames, on: "yes" });
  ticking = false;
  if (!saved || !spread.open) return;
  if (at + shown.length < series.length) {
    at += shown.length;
    load();
  } else {
    spread.close();
    say("Saved. Those were the last ones to look at.");
    document.getElementById("issue")?.focus();
  }
}

spread?.addEventListener("close", () => {
  series = []; // so that no answer that is still to come opens it again
});

spread?.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "l") looked();
  else if (event.key === "ArrowRight") go(1);
  else if (event.key === "ArrowLeft") go(-1);
  else if (/^[1-6]$/.test(event.key)) alone(Number(event.key) - 1);
  else return;
  event.preventDefault();
});

// Whoever looked at one alone comes back to the spread it is part of.
document.getElementById("viewer").addEventListener("close", () => {
  if (spread.open) document.getElementById("spread-all")?.focus({ preventScroll: true });
});

whenChanged(async () => {
  if (!spread.open || ticking) return;
  const mine = shown;
  const now = await Promise.all(mine.map((picture) => told(picture.frame)));
  if (mine !== shown || now.includes(null) || JSON.stringify(now) === JSON.stringify(shown)) return;
  shown = now;
  const kept = spread.contains(document.activeElement) ? document.activeElement.id : "";
  show();
  if (kept) document.getElementById(kept)?.focus({ preventScroll: true });
});
