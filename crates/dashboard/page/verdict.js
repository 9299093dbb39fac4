// The verdict: as word, shape and place while it is live; as one small past line when it is not.
let spoken = "";

function standing(view) {
  const v = view.verdict;
  const state = view.live ? view.live.state : null;
  return v && v.live === true && state !== "stale" && state !== "held" ? v : null;
}
// The amendment of the view's verdict. It stays until the check is taken again or another is armed; its shape stands only
// while the leads show it.
function amendment(view) {
  const a = view.verdict && view.verdict.amended;
  if (!a) return null;
  const state = view.live ? view.live.state : null;
  return { ...a, live: a.live === true && state !== "stale" && state !== "held" };
}
function besides(a) {
  const word = str(a.word).toUpperCase(), value = `${str(a.label)} ${str(a.value).replace(/, settled$/, "")}`;
  const showed = a.live ? "The leads now show" : `The leads then showed ${word}:`;
  const moved = `The reading has since moved to ${value}, which would be ${word}. `;
  // On a small screen there is room for one sentence.
  const often = `The word has changed ${a.changes} times; ${a.live ? "now" : "then"} ${word}: ${value}. `;
  const told = num(a.changes) !== null ? often : a.back === true ? `The leads ${a.live ? "agree" : "then agreed"} with it again: ${value}. ` : a.moved === true ? moved : `${showed} ${value}. `;
  return [told, el("b", "", "Measure again before you act.")];
}
// A danger stands first until the check is taken again or another is armed, whatever the leads show meanwhile.
function drawDanger(view) {
  const d = view.danger;
  $("danger").hidden = !d;
  put($("danger-word"), d ? str(d.word) : "");
  put($("danger-unsaved"), d && d.unsaved === true ? "UNSAVED" : "");
  for (const part of ["advice", "what", "gone", "source"]) put($("danger-" + part), d ? str(d[part]) : "");
}
function drawValues(values) {
  $("figures").hidden = !values.length;
  if (!changed("figures", values)) return;
  $("figures").replaceChildren(...values.map((f) => el("p", f.settled === true ? "figure" : "early",
    f.unsaved === true ? el("b", "mark", "UNSAVED ") : null, `${str(f.label)} ${str(f.text)}`)));
}
function drawVerdict(view) {
  drawDanger(view);
  const a = amendment(view), v = a || view.danger ? null : standing(view), past = v ? null : view.verdict;
  const box = $("verdict"), word = v ? str(v.verdict) : a && a.live ? str(a.word) : "";
  box.hidden = !v && !a;
  if (changed("verdict", [word, v && [v.advice, v.reason], a && [a, past.check]])) {
    box.className = [word && "v-" + slug(word), a && "amended"].filter(Boolean).join(" ");
    $("glyph").replaceChildren(...(word ? [glyph(word)] : []));
    $("rail").replaceChildren(...(word ? rail(word) : []));
    const cut = word.indexOf(" ");
    $("word").replaceChildren(...(cut < 0 ? [el("b", "", word)] : [el("span", "", word.slice(0, cut)), " ", el("b", "", word.slice(cut + 1))]));
    put($("advice"), v ? str(v.advice) : "");
    put($("reason"), v ? str(v.reason) : "");
    $("amended").hidden = $("beside").hidden = !a;
    $("amended").replaceChildren(...(a ? [el("b", "", "AMENDED"), " ", el("span", "", `check ${str(past.check)} ${a.back === true ? "is back to" : "said"} ${str(a.said).toUpperCase()}`)] : []));
    $("beside").replaceChildren(...(a ? besides(a) : []));
  }
  drawValues(v ? list(v.values) : []);
  const unsaved = v ? v.unsaved === true : !!a && a.unsaved === true;
  document.body.classList.toggle("unsaved", unsaved);
  put($("unsaved"), unsaved ? "UNSAVED" : "");
  put($("saving"), num(view.saving) ? "saving the verdict; it is shown when the disk has it" : "");
  put($("last"), past && !a && !view.danger ? `${past.unsaved === true ? "UNSAVED, " : ""}last: ${str(past.verdict)} (check ${str(past.check)}, ${str(past.unit)} ${str(past.component)}). Not what the leads show now.` : "");
  drawWhy(v || past);
  buzz(view.danger ? `${past.check} danger` : v ? `${v.check} ${v.verdict}` : a && a.live ? `${past.check} amended ${a.word}` : "", v ? slot(v.verdict) : slot("fail"));
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
  const early = list(v.values);
  const rows = list(v.judgements).map((j) => {
    const limits = [num(j.low) === null ? null : `low limit ${figure(j.low)}`, num(j.high) === null ? null : `high limit ${figure(j.high)}`];
    const p = num(j.probability_of_conformance);
    // A word that came before every reading was at rest has no value; its figure has, once there is one.
    const own = early.find((f) => str(f.label) === str(j.name));
    const value = own ? str(own.text) : early.length ? "judged before every reading was at rest"
      : num(j.value) === null ? "no value" : `${figure(j.value)} ${str(j.unit)}`;
    const u = early.length || num(j.expanded_uncertainty) === null ? "" : ` ± ${Number(j.expanded_uncertainty.toPrecision(2))} (k = ${str(v.coverage_factor)})`;
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
  $("recent-list").replaceChildren(...rows.map((r) => el("li", "v-" + slug(str(r.amended) || str(r.verdict)), glyph(str(r.amended) || str(r.verdict)),
    el("div", "", el("p", "", r.danger === true ? el("b", "mark", "DANGER ") : null, r.unsaved === true ? el("b", "mark", "UNSAVED ") : null, str(r.amended) && str(r.amended) !== str(r.verdict) ? el("s", "", str(r.verdict)) : el("b", "", str(r.verdict)),
      str(r.amended) ? el("b", "mark", ` AMENDED: ${str(r.amended) === str(r.verdict) ? "back to " : ""}${str(r.amended)}`) : null, num(r.at_s) === null ? null : el("span", "at", clock(r.at_s))),
      el("p", "", `${str(r.unit)} ${str(r.component)}`), el("p", "src", str(r.reason) || str(r.advice))))));
}
