// How many pictures stand side by side so that each is still large enough: pure.

/** A photograph printed two to a page is about so many CSS pixels wide; none is shown smaller. */
export const LEAST = 528;

/** Give rows and columns for the most pictures, at most `most`, that stay at least `least` wide. */
export function grid(width, height, most, { least = LEAST, ratio = 4 / 3 } = {}) {
  const tried = [[1, 1], [1, 2], [2, 2], [2, 3]];
  const fits = tried.filter(([rows, columns]) => rows * columns <= most && Math.min(width / columns, (height / rows) * ratio) >= least);
  const [rows, columns] = fits.at(-1) ?? [1, 1];
  return { rows, columns, count: rows * columns };
}
