// Run with: node --test tests/review/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { beyond, fitting, placeOf, stepped } from "../../../evidence/review/static/choosing.js";
import { markOf, moved, pathOf, same, within } from "../../../evidence/review/static/shapes.js";

test("a point moved by keys stays within the picture", () => {
  let point = { x: 0.99, y: 0.01 };
  for (let i = 0; i < 5; i++) point = moved(moved(point, "ArrowRight"), "ArrowUp");
  assert.deepEqual(point, { x: 1, y: 0 });
  assert.deepEqual(moved(point, "Home"), point);
  assert.equal(within(-3), 0);
});

test("Shift moves finely", () => {
  const by = (fine) => moved({ x: 0.5, y: 0.5 }, "ArrowLeft", fine).x;
  assert.ok(0.5 - by(true) < 0.5 - by(false));
});

test("corners are put in order, an arrow keeps its direction", () => {
  const [a, b] = [{ x: 0.8, y: 0.7 }, { x: 0.2, y: 0.1 }];
  assert.deepEqual(markOf("box", a, b), { shape: "box", x0: 0.2, y0: 0.1, x1: 0.8, y1: 0.7 });
  assert.deepEqual(markOf("arrow", a, b), { shape: "arrow", x0: 0.8, y0: 0.7, x1: 0.2, y1: 0.1 });
  assert.ok(same(a, { x: 0.805, y: 0.7 }));
  assert.ok(!same(a, b));
});

test("an arrow's head is at its second point, a box closes", () => {
  const arrow = pathOf({ shape: "arrow", x0: 0, y0: 0, x1: 1, y1: 0 }, 100, 50);
  assert.match(arrow, /^M0 0L100 0M/);
  assert.equal(pathOf({ shape: "box", x0: 0, y0: 0, x1: 0.5, y1: 1 }, 100, 50), "M0 0H50V50H0Z");
  assert.match(pathOf({ shape: "ring", x0: 0.2, y0: 0.2, x1: 0.4, y1: 0.6 }, 100, 50), /^M20 20a10 10/);
});

test("a digit names a place only if there is one", () => {
  assert.equal(placeOf("1", 3), 0);
  assert.equal(placeOf("4", 3), -1);
  assert.equal(placeOf("0", 3), -1);
  assert.equal(placeOf("x", 3), -1);
});

test("offers keep their order and hold every typed word", () => {
  const offers = [{ name: "Attic north" }, { name: "Bath" }, { name: "Attic south" }];
  assert.deepEqual(fitting(offers, "attic").map((o) => o.name), ["Attic north", "Attic south"]);
  assert.deepEqual(fitting(offers, "SOUTH att").map((o) => o.name), ["Attic south"]);
  assert.equal(fitting(offers, "").length, 3);
});

test("a list goes round its ends", () => {
  assert.equal(stepped(0, -1, 4), 3);
  assert.equal(stepped(3, 1, 4), 0);
  assert.equal(stepped(0, 1, 0), 0);
});

test("down goes to the nearest picture of the next row, and nowhere from the last", () => {
  const at = (column, row) => ({ left: column * 100, right: column * 100 + 90, top: row * 200, bottom: row * 200 + 150 });
  const boxes = [at(0, 0), at(1, 0), at(2, 0), at(0, 1), at(1, 1)];
  assert.equal(beyond(boxes, 1, true), 4);
  assert.equal(beyond(boxes, 2, true), 4);
  assert.equal(beyond(boxes, 4, false), 1);
  assert.equal(beyond(boxes, 3, true), -1);
});
