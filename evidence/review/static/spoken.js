// The sentences said beside the pictures: one becomes a finding by a digit.

import { placeOf, stepped } from "./choosing.js";
import { open } from "./dialogs.js";
import { takeNewest } from "./hand.js";
import { made, refill } from "./made.js";
import { act, ask, say } from "./talk.js";

const teller = document.getElementById("teller");
const view = document.getElementById("view");

/** Ask what one of the sentences said beside a picture means; its number, or 0 for the likeliest. */
export async function askOfSentence(frame, number = 0) {
  const answer = await ask(`/said/${frame}`);
  const sentences = answer ? await answer.json() : [];
  if (!sentences.length) {
    say(`Nothing was said beside picture ${frame}.`);
    return;
  }
  show(sentences, Math.max(0, sentences.findIndex((one) => one.number === number)));
  open(teller);
  teller.querySelector("button").focus();
}

function show(sentences, at) {
  const it = sentences[at];
  const whose = made("input", { type: "checkbox", id: "teller-standard" });
  const accept = async (standard) => {
    teller.close();
    const fields = { sentence: it.number, standard };
    if (await act("accept", standard && whose.checked ? { ...fields, words: "standard" } : fields)) takeNewest();
  };
  const next = () => {
    show(sentences, stepped(at, 1, sentences.length));
    teller.querySelector("button").focus();
  };
  const offers = [...it.offers, { id: "", seen: "None of these: in these words alone", reason: "" }];
  const keys = [...it.offers.map((_, place) => String(place + 1)), "0"];
  const list = made(
    "ol",
    { class: "offers" },
    ...offers.map(({ id, seen, reason }, place) =>
      made(
        "li",
        {},
        made(
          "button",
          { type: "button", class: place === 0 ? "likeliest" : "", onclick: () => accept(id) },
          made("kbd", {}, keys[place]),
          ` ${seen} `,
          id && made("span", { class: "quiet" }, `${id}, ${reason}`),
        ),
      ),
    ),
  );
  teller.onkeydown = (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const buttons = [...teller.querySelectorAll(".offers button")];
    const here = buttons.indexOf(document.activeElement);
    const place = event.key === "0" ? buttons.length - 1 : placeOf(event.key, buttons.length - 1);
    if (place >= 0) buttons[place]?.click();
    else if (event.key === "ArrowDown") buttons[stepped(here, 1, buttons.length)]?.focus();
    else if (event.key === "ArrowUp") buttons[stepped(Math.max(here, 0), -1, buttons.length)]?.focus();
    else if (event.key === "s" && sentences.length > 1) next();
    else return;
    event.preventDefault();
  };
  refill(
    teller,
    made("h2", { id: "teller-title" }, it.finding ? "What was said" : "Which finding is this?"),
    made("p", { class: "spoken" }, made("q", {}, it.words)),
    made("p", { class: "quiet" }, [it.room, along(it.frames)].filter(Boolean).join("; ")),
    it.finding ? made("p", {}, `It is finding ${it.finding}.`) : list,
    it.finding || !it.offers.length
      ? null
      : made("label", { for: "teller-standard" }, whose, " in the standard finding's words, not the spoken ones"),
    made(
      "p",
      { class: "row" },
      sentences.length > 1
        ? made("button", { type: "button", id: "teller-next", onclick: next }, made("kbd", {}, "s"), ` another of ${sentences.length} said here`)
        : null,
      made("button", { type: "button", onclick: () => teller.close() }, it.finding ? "Back" : "Leave it"),
    ),
  );
}

function along(frames) {
  return frames.length ? `with picture ${frames.join(", ")}` : "no picture was taken with it";
}

view.addEventListener("click", (event) => {
  const button = event.target.closest("[data-sentence]");
  if (button) askOfSentence(Number(button.dataset.beside), Number(button.dataset.sentence));
});
