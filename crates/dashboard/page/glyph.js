// The five shapes: a part in the clamp of two test clips, seen from the side. They tell apart by outline alone.
//   pass: both clips bite a whole, solid part.           conditional pass: they bite, the part is solid by half.
//   conditional fail: one clip has let go, the part tips.  fail: both have let go, the part is in two.
//   no verdict: both clips stand open on an empty place.
const VERDICTS = ["pass", "conditional pass", "no verdict", "conditional fail", "fail"];
const slot = (word) => VERDICTS.indexOf(word);
const slug = (word) => (slot(word) < 0 ? "unknown" : word.replace(" ", "-"));
const CLIP = "M0-64-15-48 0-32-15-16 0 0-15 16 0 32-15 48 0 64H-30L-56 34V14H-130V-14H-56V-34L-30-64Z";

function clip(side, bite, solid) {
  const move = side < 0 ? `translate(${bite} 95)` : `translate(${bite} 95) scale(-1 1)`;
  return svg("path", { d: CLIP, transform: move, class: solid ? "clip" : "clip open" });
}
const piece = (d, cls, move) => svg("path", { d, class: cls, ...(move ? { transform: move } : {}) });
function glyph(word) {
  const parts = {
    "pass": () => [clip(-1, 98, true), clip(1, 222, true), piece("M106 14H214V176H106Z", "ink")],
    "conditional pass": () => [clip(-1, 98, true), clip(1, 222, false),
      piece("M111 20H209V170H111Z", "hollow"), piece("M106 14H214V95H106Z", "ink")],
    "conditional fail": () => [clip(-1, 76, true), clip(1, 258, false),
      piece("M-49-75H49V75H-49Z", "hollow", "translate(158 97) rotate(17)"), piece("M-54 24H54V80H-54Z", "ink", "translate(158 97) rotate(17)")],
    "fail": () => [clip(-1, 66, true), clip(1, 254, true),
      piece("M-54-46H54V20L18 44-10 14-54 38Z", "ink", "translate(142 60) rotate(-20)"),
      piece("M-54 0-10-24 18 6 54-18V52H-54Z", "ink", "translate(180 132) rotate(22)")],
    "no verdict": () => [clip(-1, 78, false), clip(1, 242, false), piece("M106 14H214V176H106Z", "ring")],
  }[word];
  return svg("svg", { viewBox: "14 5 292 180", class: `glyph v-${slug(word)}`, "data-shape": slug(word),
    "aria-hidden": "true" }, ...(parts ? parts() : [piece("M20 160H300", "ring")]));
}
function rail(word) {
  return VERDICTS.map((each) => el("i", each === word ? "on" : ""));
}
