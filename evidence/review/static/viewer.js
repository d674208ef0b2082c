// One picture in full size: as taken beside brightened, its light, its marks, what it shows, its tick.

import { DISTANCES, findingAtHand } from "./hand.js";
import { address, inked, sheet } from "./ink.js";
import { made, drawn, refill, renew } from "./made.js";
import { SHAPES, markOf, moved, same } from "./shapes.js";
import { act, ask, lastSaid, notShown, say, whenChanged } from "./talk.js";
import { writeFinding } from "./chooser.js";

const viewer = document.getElementById("viewer");
let series = [];
let at = 0;
let it = null;
let before = 0;
let whole = false;
let tool = "";
let point = null;
let start = null;
let proofing = false;
let seen = 0;
let ticking = false;
const later = {};

/** Open a picture; the arrow keys go through the series. */
export function look(frames, frame, { proof = false } = {}) {
  series = frames;
  at = Math.max(0, frames.indexOf(frame));
  proofing = proof;
  whole = false;
  return load();
}

async function load() {
  const wanted = series[at];
  const answer = await ask(`/picture/${wanted}`);
  const found = answer && (await answer.json());
  if (!found || series[at] !== wanted) return; // another one has been asked for meanwhile
  it = found;
  before = 0;
  stopDrawing();
  show();
  if (!viewer.open) viewer.showModal();
  viewer.querySelector(".stage").focus({ preventScroll: true });
  for (const frame of [series[at + 1], series[at - 1]].filter(Boolean)) prefetch(frame);
}

async function prefetch(frame) {
  const answer = await ask(`/picture/${frame}`);
  if (!answer) return;
  const next = await answer.json();
  if (!next.fault) new Image().src = address(next, next.light, "screen");
}

function show() {
  const kept = viewer.open && viewer.contains(document.activeElement) ? document.activeElement.id : "";
  const there = viewer.querySelector(".panel");
  if (viewer.open && there?.dataset.frame === String(it.frame)) {
    document.getElementById("stage").replaceWith(stage());
    renew(there, panel());
  } else refill(viewer, stage(), panel());
  split();
  if (kept) document.getElementById(kept)?.focus({ preventScroll: true });
}

function stage() {
  const size = whole || proofing ? "whole" : "screen";
  const image = (light, kind) => {
    const one = made("img", { class: kind, src: address(it, light, "screen"), alt: kind === "lit" ? it.label : "" });
    const frame = it.frame;
    const large = new Image();
    large.onload = () => {
      one.src = large.src;
      if (kind !== "lit" || frame !== it?.frame) return;
      seen = frame; // only now can it be said to have been looked at in full size
      const tick = document.getElementById("v-looked");
      if (tick) tick.disabled = false;
    };
    large.onerror = () => notShown(`Picture ${frame} cannot be shown whole just now; go on to another and come back.`, large.src);
    // Who only leafs through does not make the program decode every picture whole.
    clearTimeout(later[kind]);
    later[kind] = setTimeout(() => (it && (large.src = address(it, light, "whole"))), size === "whole" ? 0 : 600);
    return one;
  };
  const [w, h] = [it.width, it.height];
  const marks = sheet(it);
  if (tool) {
    const p = point ?? { x: 0.5, y: 0.5 };
    if (start) marks.append(...inked(markOf(tool, start, p), it));
    marks.append(drawn("path", { class: "cross", d: `M${p.x * w - w / 30} ${p.y * h}h${w / 15}M${p.x * w} ${p.y * h - w / 30}v${w / 15}` }));
  }
  const frame = made("div", { class: "frame" });
  frame.style.aspectRatio = `${w} / ${h}`;
  frame.style.setProperty("--ratio", String(w / h));
  if (whole) frame.style.width = `${w}px`;
  if (it.fault) frame.append(made("p", { class: "blank" }, it.fault));
  else {
    frame.append(image(it.light, "lit"));
    if (it.light !== "taken") frame.append(image("taken", "taken"));
    frame.append(marks);
  }
  const place = made(
    "div",
    {
      class: `stage${whole ? " whole" : ""}${tool ? " drawing" : ""}`,
      id: "stage",
      tabindex: "0",
      role: "group",
      "aria-label": tool ? `Drawing a ${tool}: arrow keys move, Enter sets a point` : it.label,
    },
    frame,
  );
  if (tool) byPointer(frame);
  return place;
}

function panel() {
  const frame = it.frame;
  const frames = String(frame);
  const hand = document.querySelector(`#finding-list option[value="${findingAtHand()}"]`);
  const button = (id, words, onclick, key, more = {}) =>
    made("button", { type: "button", id, onclick, ...more }, words, key && " ", key && made("kbd", {}, key));
  const field = (name, label, value) => {
    const input = made("input", { id: `v-${name}`, value: value ?? "" });
    input.addEventListener("change", () => act("describe", { frames, [name]: input.value }));
    return made("p", {}, made("label", { for: `v-${name}` }, label), input);
  };
  const distance = made(
    "select",
    { id: "v-distance", onchange: (e) => act("describe", { frames, distance: e.target.value }) },
    made("option", { value: "" }, "not said"),
    ...DISTANCES.map((word) => made("option", { selected: word === it.distance }, word)),
  );
  const stops = made("input", { type: "number", id: "v-stops", min: "0", max: "5", step: "0.1", value: String(it.stops) });
  stops.addEventListener("change", () => {
    if (stops.value) act("light", { frames, to: stops.value });
    else stops.value = stops.defaultValue; // emptied, or no number: there is nothing to lift it to
  });
  const slider = made("input", { type: "range", id: "v-before", min: "0", max: "100", value: String(before) });
  slider.addEventListener("input", () => {
    before = Number(slider.value);
    split();
  });
  return made(
    "div",
    { class: "panel", "data-frame": frames },
    made("h2", { id: "viewer-title" }, `Picture ${frame}`),
    made("p", { class: "quiet" }, [it.room || "nameless visit", it.when, it.name].join(" · ")),
    made("p", {}, it.said.join(" · ")),
    ...it.sentences.map((words) => made("p", { class: "spoken" }, made("q", {}, words))),
    made(
      "p",
      { class: "row" },
      button("v-before-one", "before", () => go(-1), "←", { disabled: at === 0 }),
      button("v-next-one", "after", () => go(1), "→", { disabled: at === series.length - 1 }),
      button("v-whole", whole ? "fitted" : "every pixel", zoom, "z"),
      button("v-close", "back", () => viewer.close(), "Esc"),
    ),
    made(
      "p",
      { class: "row" },
      it.looked
        ? made("span", { class: "word" }, "looked at in full size")
        : button("v-looked", "Looked at, nothing unreported", looked, "l", { class: "likeliest", disabled: seen !== it.frame }),
      lastSaid(),
    ),
    made("h3", {}, "Light"),
    it.light === "taken"
      ? made("p", {}, "Shown as taken.")
      : made("p", {}, made("label", { for: "v-before" }, `As taken beside ${it.lightSaid || "brightened"} `, made("kbd", {}, "b")), slider),
    made(
      "p",
      { class: "row" },
      button("v-taken", "as taken", () => act("light", { frames, to: "as taken" }), "t"),
      button("v-proposed", "as proposed", () => act("light", { frames, to: "proposed" }), "p"),
      made("label", { for: "v-stops" }, "lift, in stops"),
      stops,
    ),
    made("h3", {}, "Marks"),
    made(
      "p",
      { class: "row" },
      ...SHAPES.map((shape) =>
        button(`v-${shape}`, shape, () => draw(shape), { arrow: "a", ring: "o", box: "s", cover: "c" }[shape], { "aria-pressed": String(tool === shape) }),
      ),
    ),
    made(
      "ol",
      { class: "list" },
      ...it.marks.map((mark, n) =>
        made("li", {}, mark.shape, " ", button(`v-off-${n + 1}`, "take off", () => act("unmark", { frame, number: n + 1 }), "", { "aria-label": `Take off mark ${n + 1}, ${mark.shape}` })),
      ),
    ),
    made("h3", {}, "What it shows"),
    field("shown", "In words", it.shown),
    field("direction", "Looking towards", it.direction),
    made("p", {}, made("label", { for: "v-distance" }, "From how far"), distance),
    made(
      "p",
      { class: "row" },
      button("v-view", it.view ? "no longer an overall view" : "overall view of its room", () => act("overall", { frames, on: it.view ? "no" : "yes" }), "v"),
    ),
    made("h3", {}, "Findings"),
    made("p", {}, it.findings.map((one) => `${one.number}${one.distance ? ` (${one.distance})` : ""}`).join(", ") || "none"),
    hand
      ? made(
          "p",
          { class: "row" },
          made("span", { class: "quiet" }, `To ${hand.textContent}:`),
          ...DISTANCES.map((word, n) =>
            button(`v-as-${n + 1}`, word, () => act("attach", { finding: findingAtHand(), frames, distance: word }), String(n + 1)),
          ),
        )
      : "",
    made("p", { class: "row" }, button("v-write", "Write a finding", () => write(), "w")),
  );
}

function split() {
  const taken = viewer.querySelector("img.taken");
  if (taken) taken.style.clipPath = `inset(0 ${100 - before}% 0 0)`;
  const slider = document.getElementById("v-before");
  if (slider) slider.value = String(before);
}

function go(by) {
  if (!series[at + by]) return;
  at += by;
  load();
}

function zoom() {
  whole = !whole;
  show();
}

async function looked() {
  if (ticking || seen !== it.frame || series[at] !== it.frame) return; // the next is on its way
  ticking = true;
  const saved = it.looked || (await act("looked", { frames: String(it.frame), on: "yes" }));
  ticking = false;
  if (!viewer.open) return; // left meanwhile
  if (saved && series[at + 1]) go(1);
  else if (saved) {
    viewer.close();
    say("Saved. That was the last one to look at.");
  }
}

function write() {
  const { frame, room } = it;
  writeFinding(frame, room);
}

function draw(shape) {
  tool = tool === shape ? "" : shape;
  point = { x: 0.5, y: 0.5 };
  start = null;
  show();
  document.getElementById("stage").focus({ preventScroll: true });
}

function stopDrawing() {
  tool = "";
  point = null;
  start = null;
}

function set() {
  if (!start) {
    start = point;
    show();
    return;
  }
  if (same(start, point)) return;
  const mark = markOf(tool, start, point);
  stopDrawing();
  act("mark", { frame: it.frame, ...mark });
}

/** By pointer: press at one end and let go at the other; or two single presses, without a drag. */
function byPointer(frame) {
  const where = (event) => {
    const box = frame.getBoundingClientRect();
    return {
      x: Math.min(1, Math.max(0, (event.clientX - box.left) / box.width)),
      y: Math.min(1, Math.max(0, (event.clientY - box.top) / box.height)),
    };
  };
  frame.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    point = where(event);
    if (!start) start = point;
    else set();
  });
  frame.addEventListener("pointerup", (event) => {
    if (!tool || !start) return;
    point = where(event);
    if (!same(start, point)) set();
    else show();
  });
}

viewer.addEventListener("keydown", (event) => {
  if (!it || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.matches("input:not([type=range]), select, textarea")) return;
  const frames = String(it.frame);
  const key = event.key;
  const onStage = event.target.id === "stage";
  if (tool && key.startsWith("Arrow")) {
    point = moved(point, key, event.shiftKey);
    show();
  } else if (tool && onStage && (key === "Enter" || key === " ")) set();
  else if (tool && key === "Escape") {
    stopDrawing();
    show();
  } else if (key === "ArrowRight" && event.target.type !== "range" && !whole) go(1);
  else if (key === "ArrowLeft" && event.target.type !== "range" && !whole) go(-1);
  else if (key === "b") {
    before = before ? 0 : 100;
    split();
  } else if (key === "+" || key === "=") act("light", { frames, to: Math.min(5, it.stops + 0.25).toFixed(2) });
  else if (key === "-" || key === "−") act("light", { frames, to: Math.max(0, it.stops - 0.25).toFixed(2) });
  else if (key === "t") act("light", { frames, to: "as taken" });
  else if (key === "p") act("light", { frames, to: "proposed" });
  else if (key === "z") zoom();
  else if (key === "a") draw("arrow");
  else if (key === "o") draw("ring");
  else if (key === "s") draw("box");
  else if (key === "c") draw("cover");
  else if (key === "l") looked();
  else if (key === "w") write();
  else if (key === "v") act("overall", { frames, on: it.view ? "no" : "yes" });
  else if (/^[1-6]$/.test(key) && findingAtHand())
    act("attach", { finding: findingAtHand(), frames, distance: DISTANCES[Number(key) - 1] });
  else return;
  event.preventDefault();
});

viewer.addEventListener("close", () => {
  Object.values(later).forEach(clearTimeout);
  const frame = it?.frame;
  it = null;
  series = []; // so that no answer that is still to come opens it again
  const home = proofing
    ? document.getElementById("look-next") ?? document.getElementById("issue")
    : document.getElementById(`p-${frame}`) ?? document.querySelector(`.shot[data-frame="${frame}"]`);
  home?.focus();
});

whenChanged(async () => {
  if (!viewer.open || !it) return;
  const answer = await ask(`/picture/${it.frame}`);
  const now = answer && (await answer.json());
  if (!now || now.frame !== it?.frame) return; // another picture is open by now
  if (JSON.stringify(now) === JSON.stringify(it)) return;
  it = now;
  show();
});
