// What the second click of a double click may do: it lands on whatever the first one brought there, the
// next picture, question or view, and nobody means to decide of what came under the pointer just now.

import { begun } from "./talk.js";

const MEANT = "button, a, summary, label, input, [data-look-at]";
let first = null;

const isFirst = (place) => Boolean(first) && (place === first.place || Boolean(place?.id && place.id === first.place?.id));

// It counts on the very place of the first click only (leafing, unfolding), and only where that one decided
// nothing; undo and redo name what they do each time. A place shown anew is known by its name. A click by
// key has no count. In the capture phase, so that nothing below hears of it.
document.addEventListener(
  "click",
  (event) => {
    const place = event.target.closest(MEANT);
    if (event.detail === 1) first = { place, begun: begun() };
    else if (event.detail > 1 && place && !(isFirst(place) && (begun() === first.begun || place.matches("#undo, #redo")))) {
      event.preventDefault();
      event.stopImmediatePropagation();
    }
  },
  true,
);
