// The ruler: limits as posts, the sure part solid, guard bands hatched, the value as a pointer with its expanded
// uncertainty as a whisker. One-sided limits run off the edge.
const RW = 328, RH = 150, RX = 14;

function rulerSpan(r) {
  const { low, high, value, u, guard } = r;
  const known = [low, high, value, ...r.ends].filter((v) => v !== null);
  if (!known.length) return null;
  let width = low !== null && high !== null ? high - low : 0;
  const post = low ?? high ?? value;
  if (!(width > 0)) width = Math.max(Math.abs((value ?? post) - post) * 1.2, guard * 5, u * 4, Math.abs(post) * 0.2, 1e-9);
  let a = low !== null ? low - 0.45 * width - guard * 0.5 : (high ?? value) - width * 1.4;
  let b = high !== null ? high + 0.45 * width + guard * 0.5 : (low ?? value) + width * 1.4;
  // A value not too far out still fits; one beyond that is shown as off the ruler.
  const room = 0.15 * width + u;
  if (value !== null && value > a - 2 * width) a = Math.min(a, value - room);
  if (value !== null && value < b + 2 * width) b = Math.max(b, value + room);
  for (const end of r.ends) {
    if (end !== null && end > a - 2 * width) a = Math.min(a, end - 0.05 * width);
    if (end !== null && end < b + 2 * width) b = Math.max(b, end + 0.05 * width);
  }
  return [a, b];
}
function ruler(raw) {
  const r = { low: num(raw.low), high: num(raw.high), value: num(raw.value), u: num(raw.expanded_uncertainty) ?? 0,
    guard: num(raw.guard) ?? 0, ends: [num(raw.at_least), num(raw.at_most)] };
  const span = rulerSpan(r);
  if (!span) return null;
  const [a, b] = span;
  const x = (v) => RX + (RW - 2 * RX) * Math.min(1, Math.max(0, (v - a) / (b - a)));
  const kids = [svg("defs", {},
    svg("pattern", { id: "in", width: 9, height: 9, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      svg("rect", { width: 5, height: 9, class: "hatch-in" })),
    svg("pattern", { id: "out", width: 9, height: 9, patternUnits: "userSpaceOnUse", patternTransform: "rotate(-45)" },
      svg("rect", { width: 2, height: 9, class: "hatch-out" })))];
  const y = 88, h = 26;
  const band = (from, to, fill, cls) => {
    const x0 = x(Math.min(from, to)), x1 = x(Math.max(from, to));
    if (x1 - x0 > 0.5) kids.push(svg("rect", { x: x0, y, width: x1 - x0, height: h, fill, class: cls }));
  };
  const lo = r.low ?? a, hi = r.high ?? b;
  const sureLo = r.low === null ? a : r.low + r.guard, sureHi = r.high === null ? b : r.high - r.guard;
  if (r.low !== null || r.high !== null) {
    if (sureLo < sureHi) {
      band(sureLo, sureHi, "#0a5a33", "sure");
      if (r.low !== null) band(lo, sureLo, "url(#in)", "guard");
      if (r.high !== null) band(sureHi, hi, "url(#in)", "guard");
    } else band(lo, hi, "url(#in)", "guard");
    if (r.low !== null) band(lo - r.guard, lo, "url(#out)", "guard");
    if (r.high !== null) band(hi, hi + r.guard, "url(#out)", "guard");
  }
  kids.push(svg("path", { d: `M${RX} ${y + h}H${RW - RX}`, class: "axis" }));
  const close = r.low !== null && r.high !== null && x(r.high) - x(r.low) < 90;
  for (const [v, side] of [[r.low, "low"], [r.high, "high"]]) {
    if (v === null) continue;
    kids.push(svg("path", { d: `M${x(v)} ${y - 8}V${y + h + 10}`, class: "post" }));
    const anchor = close ? (side === "low" ? "end" : "start") : "middle";
    kids.push(svg("text", { x: Math.min(RW - 34, Math.max(34, x(v))), y: y + h + 28, "text-anchor": anchor,
      class: "mark" }, figure(v)));
  }
  if (r.value !== null) kids.push(...pointer(r, x, a, b, y, str(raw.unit)));
  else if (str(raw.early)) kids.push(...between(r, x, str(raw.early)));
  const says = `${str(raw.name)}: ` + (r.value === null ? str(raw.early) || "no value yet" : `${figure(r.value)} ${str(raw.unit)}`) +
    `, limits ${r.low === null ? "none" : figure(r.low)} to ${r.high === null ? "none" : figure(r.high)}` +
    `, expanded uncertainty ${figure(r.u)}, guard band ${figure(r.guard)}`;
  return svg("svg", { viewBox: `0 0 ${RW} ${RH}`, class: "ruler", role: "img", "aria-label": says }, ...kids);
}
// The ends that a value still settles between: brackets and no needle. An end that is not known runs off the edge.
function between(r, x, words) {
  const x0 = r.ends[0] === null ? RX : x(r.ends[0]), x1 = r.ends[1] === null ? RW - RX : x(r.ends[1]);
  const d = (r.ends[0] === null ? `M${x0} 75` : `M${x0 + 8} 62H${x0}V88H${x0 + 8}M${x0} 75`) + `H${x1}` + (r.ends[1] === null ? "" : `M${x1 - 8} 62H${x1}V88H${x1 - 8}`);
  const text = words.replace(/, settling$/, ""), room = Math.min(RW / 2, text.length * 5.6);
  return [svg("path", { d, class: "halo" }), svg("path", { d, class: "whisker open" }),
    svg("text", { x: Math.min(RW - room, Math.max(room, (x0 + x1) / 2)), y: 30, "text-anchor": "middle", class: "now early" }, text)];
}
function pointer(r, x, a, b, y, unit) {
  const at = x(r.value), out = [];
  const off = r.value < a ? -1 : r.value > b ? 1 : 0;
  if (off) {
    const tip = off < 0 ? 2 : RW - 2, back = tip - off * 26;
    out.push(svg("path", { d: `M${tip} 60L${back} 42V78Z`, class: "needle" }));
  } else {
    out.push(svg("path", { d: `M${at} ${y + 16}L${at - 14} 36H${at + 14}Z`, class: "needle" }));
    if (r.u > 0) {
      const x0 = x(r.value - r.u), x1 = x(r.value + r.u), d = `M${x0} 66V84M${x0} 75H${x1}M${x1} 66V84`;
      out.push(svg("path", { d, class: "halo" }), svg("path", { d, class: "whisker" }));
    }
  }
  const u = r.u > 0 ? ` ± ${Number(r.u.toPrecision(2))}` : "";
  const text = `${figure(r.value)}${u} ${unit}` + (off ? " off the ruler" : "");
  const room = text.length * 6.2;
  out.push(svg("text", { x: Math.min(RW - room, Math.max(room, at)), y: 26, "text-anchor": "middle", class: "now" }, text));
  return out;
}
