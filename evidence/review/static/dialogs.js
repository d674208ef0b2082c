// Opens a question over the page, and brings the focus back to where it came from: by name, because
// the place itself may have been shown anew meanwhile.

let home = null;

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
