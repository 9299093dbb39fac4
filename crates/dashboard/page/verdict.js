// The verdict: as word, shape and place while it is live; as one small past line when it is not.
let spoken = "";

function standing(view) {
  const v = view.verdict;
  const state = view.live ? view.live.state : null;
  return v && v.live === true && state !== "stale" && state !== "held" ? v : null;
}
function drawVerdict(view) {
  const v = standing(view), past = v ? null : view.verdict;
  const box = $("verdict");
  box.hidden = !v;
  if (changed("verdict", v && [v.verdict, v.advice, v.reason])) {
    const word = v ? str(v.verdict) : "";
    box.className = v ? "v-" + slug(word) : "";
    $("glyph").replaceChildren(...(v ? [glyph(word)] : []));
    $("rail").replaceChildren(...(v ? rail(word) : []));
    const cut = word.indexOf(" ");
    $("word").replaceChildren(...(cut < 0 ? [el("b", "", word)] : [el("span", "", word.slice(0, cut)), " ", el("b", "", word.slice(cut + 1))]));
    put($("advice"), v ? str(v.advice) : "");
    put($("reason"), v ? str(v.reason) : "");
  }
  document.body.classList.toggle("unsaved", !!v && v.unsaved === true);
  put($("unsaved"), v && v.unsaved === true ? "UNSAVED" : "");
  put($("saving"), num(view.saving) ? "saving the verdict; it is shown when the disk has it" : "");
  put($("last"), past ? `${past.unsaved === true ? "UNSAVED, " : ""}last: ${str(past.verdict)} (check ${str(past.check)}, ${str(past.unit)} ${str(past.component)}). Not what the leads show now.` : "");
  drawWhy(v || past);
  buzz(v ? `${v.check} ${v.verdict}` : "", v && slot(v.verdict));
}
function buzz(mark, place) {
  if (mark === spoken) return;
  spoken = mark;
  if (mark && navigator.vibrate && navigator.userActivation && navigator.userActivation.hasBeenActive)
    navigator.vibrate([[80], [80, 80, 80], [30, 60, 30], [200, 100, 200], [500, 120, 500]][place] || []);
}
function drawWhy(v) {
  $("why").hidden = !v;
  if (!v || !changed("why", v)) return;
  const rows = list(v.judgements).map((j) => {
    const limits = [num(j.low) === null ? null : `low limit ${figure(j.low)}`, num(j.high) === null ? null : `high limit ${figure(j.high)}`];
    const p = num(j.probability_of_conformance);
    const value = num(j.value) === null ? "no value" : `${figure(j.value)} ${str(j.unit)}`;
    const u = num(j.expanded_uncertainty) === null ? "" : ` ± ${Number(j.expanded_uncertainty.toPrecision(2))} (k = ${str(v.coverage_factor)})`;
    return el("div", "row", el("h3", "", `${str(j.name)}: ${str(j.verdict)}`), el("p", "", value + u),
      el("p", "", limits.filter(Boolean).join(", ")),
      j.meter_too_coarse === true ? el("p", "strong", "The meter is too coarse for this tolerance; that is not the part's fault.") : null,
      p === null ? null : el("p", "", `probability of conformance ${(100 * p).toFixed(p > 0.999 && p < 1 ? 2 : 1)} %`),
      str(j.advice) ? el("p", "", str(j.advice)) : null, el("p", "src", `limits from: ${str(j.source)}${str(j.source_class) ? ` [${str(j.source_class)}]` : ""}`));
  });
  const notes = [str(v.decision_rule) && "decision rule: " + str(v.decision_rule), ...list(v.notes).map(str),
    `rule ${str(v.rule)} ${str(v.rule_hash).slice(0, 8)}`];
  $("why-list").replaceChildren(...rows, ...notes.filter(Boolean).map((n) => el("p", "src", n)));
}
function clock(seconds) {
  const s = Math.floor(seconds);
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}
function drawRecent(view) {
  const rows = list(view.recent);
  $("recent").hidden = !rows.length;
  if (!changed("recent", rows)) return;
  $("recent-list").replaceChildren(...rows.map((r) => el("li", "v-" + slug(str(r.verdict)), glyph(str(r.verdict)),
    el("div", "", el("p", "", r.unsaved === true ? el("b", "mark", "UNSAVED ") : null, el("b", "", str(r.verdict)), num(r.at_s) === null ? null : el("span", "at", clock(r.at_s))),
      el("p", "", `${str(r.unit)} ${str(r.component)}`), el("p", "src", str(r.reason) || str(r.advice))))));
}
