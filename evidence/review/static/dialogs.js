// Opens a question over the page, and brings the focus back to where it came from: by name, because
// the place itself may have been shown anew meanwhile.

let home = null;
let coming = 0;

/** Wait for a question to stand there; until then keys meant for it must not be taken for a picture's. */
export async function awaited(question) {
  coming += 1;
  try {
    return await question;
  } finally {
    coming -= 1;
  }
}

/** Whether a question is on its way. */
export function isComing() {
  return coming > 0;
}

/** Open a dialog; its closing gives the focus back. */
export function open(dialog) {
  const from = document.activeElement;
  const name = from?.id;
  const frame = from?.dataset?.frame;
  home = { name, frame };
  dialog.showModal();
  dialog.addEventListener("close", () => back({ name, frame }), { once: true });
}

/** Give the focus to the place a question was asked from, if nobody else has taken it. */
export function back({ name, frame } = home ?? {}) {
  if (document.querySelector("dialog[open]")?.contains(document.activeElement)) return;
  const place = (name && document.getElementById(name)) || (frame && document.getElementById(`p-${frame}`));
  place?.focus({ preventScroll: true });
}
