// Run with: node --test tests/review/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { following, lined, placeOfFrames, preceding, stretched, taken } from "../../../evidence/review/static/things.js";

const day = () =>
  lined([
    { views: [[1], [2, 3]], visit: 1, done: [false, false] },
    { views: [[4]], visit: 1, done: [true] },
    { views: [[5], [6]], visit: 5, done: [false, false] },
  ]);

test("a thing is taken whole, and what is left of it when its first view is gone", () => {
  const line = day();
  assert.deepEqual(taken(line, 0), { from: 0, to: 1 });
  assert.deepEqual(taken(line, 1), { from: 1, to: 1 });
  assert.deepEqual(taken(line, 3), { from: 3, to: 4 });
});

test("it takes the next view in within its visit only, and never loses its first", () => {
  const line = day();
  assert.deepEqual(stretched(line, { from: 0, to: 1 }, 1), { from: 0, to: 2 });
  assert.deepEqual(stretched(line, { from: 0, to: 2 }, 1), { from: 0, to: 2 });
  assert.deepEqual(stretched(line, { from: 0, to: 1 }, -1), { from: 0, to: 0 });
  assert.deepEqual(stretched(line, { from: 0, to: 0 }, -1), { from: 0, to: 0 });
  assert.deepEqual(stretched(line, { from: 3, to: 4 }, 1), { from: 3, to: 4 });
});

test("it goes on to what has no finding, and back to whatever was before", () => {
  const line = day();
  assert.equal(following(line, { to: 1 }), 3);
  assert.equal(following(line, { to: 4 }), -1);
  assert.equal(preceding(line, { from: 3 }), 2);
  assert.equal(preceding(line, { from: 2 }), 0);
  assert.equal(preceding(line, { from: 0 }), -1);
});

test("it begins with the thing of a picture, else with the first that has no finding", () => {
  const line = day();
  assert.equal(placeOfFrames(line, [3]), 0);
  assert.equal(placeOfFrames(line, [6]), 3);
  assert.equal(placeOfFrames(line, [99, 6, 3]), 3);
  assert.equal(placeOfFrames(line, [99]), 0);
});

test("what is left of a thing whose first view a finding took with it is still to come", () => {
  const line = lined([
    { views: [[1]], visit: 1, done: [true] },
    { views: [[2], [3, 4]], visit: 1, done: [true, false] },
  ]);
  assert.equal(following(line, { to: 1 }), 2);
  assert.deepEqual(taken(line, 2), { from: 2, to: 2 });
});
