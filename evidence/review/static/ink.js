// What a picture looks like on the screen: the address of its copy, and the ink of its marks.

import { drawn } from "./made.js";
import { pathOf } from "./shapes.js";

/** Give the address of a copy of a picture: "small", "screen", or "whole" with every pixel. */
export function address(picture, light, size) {
  return `/image/${picture.frame}/${picture.digest}/${light}/${size}.jpg`;
}

/** Give the paths that draw one mark on a picture. */
export function inked(mark, { width, height }) {
  const d = pathOf(mark, width, height);
  if (mark.shape === "cover") return [drawn("path", { class: "cover", d })];
  return [drawn("path", { class: "halo", d }), drawn("path", { class: "ink", d })];
}

/** Give a sheet of marks that lies over a picture. */
export function sheet(picture) {
  const marks = drawn("svg", { class: "marks", viewBox: `0 0 ${picture.width} ${picture.height}`, "aria-hidden": "true" });
  for (const mark of picture.marks) marks.append(...inked(mark, picture));
  return marks;
}
