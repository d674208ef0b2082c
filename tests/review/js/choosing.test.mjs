// Run with: node --test tests/review/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { beyond, composing, fitting, goesOn, placeOf, stepped } from "../../../evidence/review/static/choosing.js";

const field = (value, kind = "input") => ({ value, matches: (selector) => selector.split(", ").some((one) => one.startsWith(kind)) });
const picture = { matches: () => false };

test("a key held down moves on and types on, and decides nothing", () => {
  assert.equal(goesOn({ key: "ArrowDown", target: picture }), true);
  assert.equal(goesOn({ key: "v", target: picture }), false);
  assert.equal(goesOn({ key: "z", target: picture }), false);
  assert.equal(goesOn({ key: "Backspace", target: field("att") }), true);
  assert.equal(goesOn({ key: "Enter", target: field("attic") }), false);
  assert.equal(goesOn({ key: "1", target: field("") }), false);
  assert.equal(goesOn({ key: "Enter", target: field("moist air", "textarea") }), true);
});

test("a key of an input method is its own, the last one in Safari too", () => {
  assert.equal(composing({ isComposing: true, keyCode: 13 }), true);
  assert.equal(composing({ isComposing: false, keyCode: 229 }), true);
  assert.equal(composing({ isComposing: false, keyCode: 13 }), false);
});

test("an offer fits when it holds every typed word, in any order", () => {
  const offers = [{ name: "Attic, north" }, { name: "North bedroom" }, { name: "Kitchen" }];
  assert.deepEqual(fitting(offers, "north at"), [offers[0]]);
  assert.deepEqual(fitting(offers, " "), offers);
});

test("a list is gone through round its ends, and an empty one stays at its begin", () => {
  assert.equal(stepped(2, 1, 3), 0);
  assert.equal(stepped(0, -1, 3), 2);
  assert.equal(stepped(0, 1, 0), 0);
});

test("a digit means a place that is there", () => {
  assert.equal(placeOf("3", 3), 2);
  assert.equal(placeOf("4", 3), -1);
  assert.equal(placeOf("0", 3), -1);
  assert.equal(placeOf("12", 30), -1);
});

test("the neighbour below is the nearest of the next row, of the last row there is none", () => {
  const box = (column, row) => ({ left: column * 10, right: column * 10 + 9, top: row * 10, bottom: row * 10 + 9 });
  const boxes = [box(0, 0), box(1, 0), box(2, 0), box(0, 1), box(1, 1)];
  assert.equal(beyond(boxes, 1, true), 4);
  assert.equal(beyond(boxes, 2, true), 4);
  assert.equal(beyond(boxes, 4, true), -1);
  assert.equal(beyond(boxes, 3, false), 0);
});
