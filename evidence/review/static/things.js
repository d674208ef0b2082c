// The things of the day as the round goes through them: which views are together. Pure.

/** Lay the views of all things in one line; each knows its thing, and whether a finding has it. */
export function lined(things) {
  return things.flatMap((thing, number) => thing.views.map((frames, n) => ({ frames, thing, number, done: thing.done[n] })));
}

/** Take the views of one thing from a place on: what is left of it. */
export function taken(line, from) {
  let to = from;
  while (line[to + 1]?.number === line[from].number) to += 1;
  return { from, to };
}

/** Take the next view of the same visit in as well, or leave the last one out. */
export function stretched(line, { from, to }, by) {
  const next = line[to + by];
  const fits = by < 0 ? to > from : next && next.thing.visit === line[from].thing.visit;
  return { from, to: fits ? to + by : to };
}

/** Give the place of the next view that no finding has yet, -1 when there is none. */
export function following(line, { to }) {
  return line.findIndex((view, place) => place > to && !view.done);
}

/** Give the place where the thing before begins, -1 when there is none. */
export function preceding(line, { from }) {
  const before = line[from - 1];
  return before ? line.findIndex((view) => view.number === before.number) : -1;
}

/** Give the place of the thing that holds the first of these pictures that any holds, else of the first one without a finding. */
export function placeOfFrames(line, frames) {
  for (const frame of frames) {
    const held = line.find((view) => view.frames.includes(frame));
    if (held) return line.findIndex((view) => view.number === held.number);
  }
  return Math.max(0, following(line, { to: -1 }));
}
