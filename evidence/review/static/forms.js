// What is written in place: a finding's parts, a reason, an issue. Saved when a field is left.

import { act, say } from "./talk.js";

const view = document.getElementById("view");

/** Save what was changed here, and only that: the other parts may have been written anew elsewhere. */
function edit(form) {
  const fields = {};
  for (const field of form.elements) {
    const [now, saved] = field.type === "checkbox" ? [field.checked, field.defaultChecked].map((on) => (on ? "yes" : "no")) : [field.value, field.defaultValue];
    if (field.name && now !== saved) fields[field.name] = now;
  }
  if (!Object.keys(fields).length) return;
  act("edit", { finding: form.dataset.edit, ...fields }, () => {
    // What is on the disk is what a later change is measured against.
    for (const [name, value] of Object.entries(fields)) {
      const field = form.elements[name];
      if (field.type === "checkbox") field.defaultChecked = value === "yes";
      else field.defaultValue = value;
    }
  });
}

view.addEventListener("change", (event) => {
  const field = event.target;
  if (field.dataset.distance)
    act("attach", { finding: field.dataset.finding, frames: field.dataset.distance, distance: field.value });
  else if (field.form?.dataset.edit) edit(field.form);
});

view.addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target;
  if (form.dataset.edit) edit(form);
  else if (form.dataset.explain) {
    const reason = form.elements.reason.value;
    act("explain", { place: form.dataset.explain, reason }, () => form.reset());
  } else if (form.dataset.clock) {
    const { add, reason } = Object.fromEntries(new FormData(form));
    act("clock", { camera: form.dataset.clock, add: add.replace("−", "-"), reason }, () => form.reset());
  } else if ("overalls" in form.dataset) {
    const frames = new FormData(form).getAll("frame");
    // Ticked again, so that what remains is shown anew.
    if (frames.length) act("overall", { frames: frames.join(","), on: "yes" }, () => form.reset());
  } else if ("issue" in form.dataset) {
    const fields = { ...Object.fromEntries(new FormData(form)), line: document.getElementById("undo").dataset.line };
    form.querySelector("#issue").disabled = true;
    say("Issuing the edition; with many pictures this takes a minute or more.");
    // Its reason is this edition's alone, and what is still being written would keep the form as it was.
    act("issue", fields, () => form.reset()).then((saved) => {
      if (!saved) say("");
      const again = document.getElementById("issue");
      if (again) again.disabled = false;
    });
  }
});
