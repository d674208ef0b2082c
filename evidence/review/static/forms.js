// What is written in place: a finding's parts, a reason, an issue. Saved when a field is left.

import { act } from "./talk.js";

const view = document.getElementById("view");

function edit(form) {
  const fields = { finding: form.dataset.edit };
  for (const field of form.elements) {
    if (!field.name) continue;
    fields[field.name] = field.type === "checkbox" ? (field.checked ? "yes" : "no") : field.value;
  }
  return act("edit", fields).then((saved) => {
    // What is on the disk is what a later change is measured against.
    if (saved) for (const field of form.elements) if (field.name in fields) field.defaultValue = fields[field.name];
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
    form.elements.reason.defaultValue = reason;
    act("explain", { place: form.dataset.explain, reason });
  } else if (form.dataset.clock) {
    const { add, reason } = Object.fromEntries(new FormData(form));
    act("clock", { camera: form.dataset.clock, add: add.replace("−", "-"), reason }).then((saved) => saved && form.reset());
  } else if ("overalls" in form.dataset) {
    const frames = new FormData(form).getAll("frame");
    form.reset(); // so that what remains is shown anew
    if (frames.length) act("overall", { frames: frames.join(","), on: "yes" });
  } else if ("issue" in form.dataset) {
    const fields = Object.fromEntries(new FormData(form));
    form.querySelector("#issue").disabled = true;
    act("issue", fields).then(() => {
      const again = document.getElementById("issue");
      if (again) again.disabled = false;
    });
  }
});
