// What a key means: pure, so that it is tested without a browser.

/** Whether a key that is held down goes on meaning what it means: moving, and typing on in a field. */
export function goesOn({ key, target }) {
  if (/^(Arrow|Page|Tab$|Home$|End$)/.test(key)) return true;
  if (!target.matches("textarea, input:not([type=checkbox]):not([type=range])")) return false;
  // An empty field takes digits and signs as choices; Enter ends a line of a longer text only.
  return target.value !== "" && (key !== "Enter" || target.matches("textarea"));
}

/** Whether a key belongs to an input method that puts a word together; 229 is what Safari says of the last one. */
export function composing({ isComposing, keyCode }) {
  return isComposing || keyCode === 229;
}

/** Keep the offers that hold every typed word, in their order. */
export function fitting(offers, typed) {
  const words = typed.toLowerCase().split(/\s+/).filter(Boolean);
  return offers.filter(({ name }) => words.every((word) => name.toLowerCase().includes(word)));
}

/** Move through a list of some length, round its ends. */
export function stepped(at, by, length) {
  return length ? (at + by + length) % length : 0;
}

/** Give the place that a digit key means in a list, -1 when none. */
export function placeOf(key, length) {
  const place = /^[1-9]$/.test(key) ? Number(key) - 1 : -1;
  return place < length ? place : -1;
}

/** Give the neighbour above or below in rows of boxes {left, top, right, bottom}; its index or -1. */
export function beyond(boxes, at, down) {
  const here = boxes[at];
  const middle = (here.left + here.right) / 2;
  const step = down ? 1 : -1;
  let row = null;
  let best = -1;
  let least = Infinity;
  for (let i = at + step; i >= 0 && i < boxes.length; i += step) {
    const box = boxes[i];
    if (row === null) {
      if (down ? box.top < here.top + 1 + (here.bottom - here.top) / 2 : box.top > here.top - 1 - (here.bottom - here.top) / 2) continue;
      row = box.top;
    } else if (Math.abs(box.top - row) > (here.bottom - here.top) / 2) break;
    const off = Math.abs((box.left + box.right) / 2 - middle);
    if (off < least) [best, least] = [i, off];
  }
  return best;
}
