// Makes elements from values; what anybody typed becomes text, never markup.

/** Make an element: made("p", {class: "quiet"}, "words", otherElement). */
export function made(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === undefined || value === null) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== undefined && child !== null && child !== ""));
  return element;
}

/** Make an SVG element. */
export function drawn(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

/**
 * Let a place say what a fresh one says. What says it already stays, and so does the field somebody is in:
 * neither what is typed nor where it is typed is taken away.
 */
export function renew(old, fresh) {
  if (old.isEqualNode(fresh)) return;
  const [mine, theirs] = [old.childNodes, fresh.childNodes].map((nodes) => [...nodes]);
  if (old === document.activeElement && old.matches("textarea, input:not([type=checkbox])")) {
    const written = old.value !== old.defaultValue;
    old.defaultValue = fresh.defaultValue;
    if (!written) old.value = fresh.value;
  } else if (old.nodeName !== "TEXTAREA" && mine.length && mine.length === theirs.length && old.cloneNode().isEqualNode(fresh.cloneNode()))
    mine.forEach((child, at) => renew(child, theirs[at]));
  else old.replaceWith(fresh);
}

/** Put new children in the place of all old ones. */
export function refill(element, ...children) {
  element.replaceChildren(...children.filter((child) => child !== undefined && child !== null));
}
