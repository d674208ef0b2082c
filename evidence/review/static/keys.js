// Every letter key, once: what the page's help lists. They act only while a picture has the focus
// or is open in full size (WCAG 2.2, 2.1.4), so that typing is never taken for a command.

export const KEYS = [
  ["On a picture", [
    ["← → ↑ ↓", "go to another picture"],
    [", .", "go to the visit before or after"],
    ["Enter", "open it in full size"],
    ["Space", "take it in hand, or put it down"],
    ["1 … 6", "attach what is at hand: overall, mid-range, close-up, with scale, data plate, obstruction"],
    ["w", "write a finding with what is at hand"],
    ["r", "name the visit; then a number takes an offered name"],
    ["n", "a new visit begins here"],
    ["j", "join this visit to the one before"],
    ["[ ]", "the visit begins one picture earlier or later"],
    ["d", "go to the joints in doubt"],
    ["u", "unfold what stands behind, or fold it again"],
    ["f", "stand in front of its look-alikes"],
    ["x", "not a look-alike after all"],
    ["v", "print as overall view of its room"],
    ["t", "as taken, or as proposed again"],
  ]],
  ["In full size", [
    ["← →", "the picture before or after"],
    ["b", "as taken beside brightened"],
    ["+ −", "lift by a quarter of a stop, or less"],
    ["t  p", "as taken; as proposed"],
    ["z", "every pixel, or fitted"],
    ["a", "draw an arrow; arrow keys move, Enter sets a point, Shift moves finely"],
    ["o  s  c", "draw a ring, a box, a cover"],
    ["l", "looked at in full size; goes on to the next"],
    ["1 … 6  w  v", "as on a picture"],
    ["Esc", "back"],
  ]],
  ["Several printed pictures at once", [
    ["l", "all of them looked at; goes on to the next ones"],
    ["← →", "the ones before or after"],
    ["1 … 6", "open one of them alone"],
  ]],
  ["Everywhere", [
    ["Ctrl Z", "undo the last decision"],
    ["Ctrl Shift Z", "do it again"],
    ["?", "this list, on a picture"],
  ]],
];
