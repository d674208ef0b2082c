// Run with: node --test tests/review/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { LEAST, grid } from "../../../evidence/review/static/columns.js";

test("no picture is shown narrower than it prints", () => {
  // 5.5 inches at 96 CSS pixels an inch (CSS Values and Units, 5.2).
  assert.equal(LEAST, 5.5 * 96);
  for (const [width, height] of [[320, 568], [1024, 768], [1280, 800], [1400, 1000], [1920, 1080], [3840, 2160]]) {
    const { rows, columns, count } = grid(width, height, 6);
    if (count > 1) assert.ok(Math.min(width / columns, (height / rows) * (4 / 3)) >= LEAST, `${width} x ${height}`);
  }
});

test("more screen takes more pictures, never more than there are or are wanted", () => {
  assert.equal(grid(800, 700, 6).count, 1);
  assert.equal(grid(1280, 720, 6).count, 2);
  assert.equal(grid(1400, 910, 6).count, 4);
  assert.equal(grid(1920, 990, 6).count, 6);
  assert.equal(grid(1920, 990, 4).count, 4);
  assert.equal(grid(1920, 990, 1).count, 1);
});
