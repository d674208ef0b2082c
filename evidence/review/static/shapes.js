// Marks as shapes in shares of the picture: pure, so that they are tested without a browser.

export const SHAPES = ["arrow", "ring", "box", "cover"];

/** Keep a share within the picture. */
export function within(share) {
  return Math.min(1, Math.max(0, share));
}

/** Move a point by an arrow key; fine steps with Shift. */
export function moved(point, key, fine = false) {
  const step = fine ? 0.005 : 0.025;
  const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[key];
  return by ? { x: within(point.x + by[0]), y: within(point.y + by[1]) } : point;
}

/** Say whether two points are too near each other to be two corners. */
export function same(a, b) {
  return Math.abs(a.x - b.x) < 0.01 && Math.abs(a.y - b.y) < 0.01;
}

/** Give a mark from its two points; an arrow keeps their order, others have corners in order. */
export function markOf(shape, a, b) {
  if (shape === "arrow") return { shape, x0: a.x, y0: a.y, x1: b.x, y1: b.y };
  return {
    shape,
    x0: Math.min(a.x, b.x),
    y0: Math.min(a.y, b.y),
    x1: Math.max(a.x, b.x),
    y1: Math.max(a.y, b.y),
  };
}

/** Give the SVG path of a mark on a picture of some width and height. */
export function pathOf(mark, width, height) {
  const [x0, y0, x1, y1] = [mark.x0 * width, mark.y0 * height, mark.x1 * width, mark.y1 * height];
  if (mark.shape === "ring") {
    const [rx, ry] = [Math.abs(x1 - x0) / 2, Math.abs(y1 - y0) / 2];
    const [cx, cy] = [(x0 + x1) / 2, (y0 + y1) / 2];
    return `M${cx - rx} ${cy}a${rx} ${ry} 0 1 0 ${2 * rx} 0a${rx} ${ry} 0 1 0 ${-2 * rx} 0Z`;
  }
  if (mark.shape === "arrow") {
    const angle = Math.atan2(y1 - y0, x1 - x0);
    const head = Math.min(Math.hypot(x1 - x0, y1 - y0) / 2, Math.max(width, height) / 25);
    const side = (turn) => `${x1 - head * Math.cos(angle + turn)} ${y1 - head * Math.sin(angle + turn)}`;
    return `M${x0} ${y0}L${x1} ${y1}M${side(0.5)}L${x1} ${y1}L${side(-0.5)}`;
  }
  return `M${x0} ${y0}H${x1}V${y1}H${x0}Z`;
}
