// Finds standard findings for a few letters, misspelt ones too: a field, and the list below it.

import { stepped } from "./choosing.js";
import { made, refill } from "./made.js";
import { ask } from "./talk.js";

/**
 * Make the field and its list. `choose(row, typed)` is called with the finding that was taken, or with
 * null for one's own words; `told(count)` each time something was found. Nothing typed, it shows what is
 * offered beforehand.
 */
export function finder(name, choose, told = () => {}, offered = []) {
  const input = made("input", { id: `${name}-seen`, autocomplete: "off", "aria-controls": `${name}-found` });
  const list = made("ol", { class: "offers", id: `${name}-found` });
  let found = offered;
  let at = 0;
  let asked = 0;
  let looking = Promise.resolve();
  const show = () =>
    refill(
      list,
      ...found.map((row, place) =>
        made(
          "li",
          {},
          made(
            "button",
            { type: "button", class: place === at ? "likeliest" : "", onclick: () => choose(row, input.value) },
            row.seen,
            made("span", { class: "quiet" }, ` ${row.reason ?? `${row.system}, ${row.id}${row.urgent ? ", urgent" : ""}`}`),
          ),
        ),
      ),
    );
  const look = async () => {
    const mine = ++asked;
    const answer = input.value.trim() && (await ask(`/search?words=${encodeURIComponent(input.value)}`));
    const rows = answer ? await answer.json() : input.value.trim() ? [] : offered;
    if (mine !== asked) return;
    found = rows.slice(0, 6);
    at = 0;
    show();
    told(found.length);
  };
  input.addEventListener("input", () => {
    looking = look();
  });
  input.addEventListener("keydown", (event) => {
    if (event.defaultPrevented) return;
    if (event.key === "ArrowDown") at = stepped(at, 1, found.length);
    else if (event.key === "ArrowUp") at = stepped(at, -1, found.length);
    else if (event.key === "Enter") {
      // Whoever types fast means all that was typed: what is offered may still answer the letters before.
      const own = event.ctrlKey || event.metaKey;
      looking.then(() => input.isConnected && choose(own ? null : (found[at] ?? null), input.value));
    } else return;
    event.preventDefault();
    show();
  });
  show();
  return { input, list };
}
