// "This round": the units of the route and the checks of the chosen one. The list is asked for when it is shown and when the view says
// that it has changed. Choosing a unit only shows its checks; choosing a check arms it.
let seen = {}, pane = "", routeList = {}, asking = false, askAgain = false, chosen = null, toShow = false, opener = null;
const unitRows = new Map();
const routeOf = () => seen.route || {};
const armedNow = () => (seen.check ? num(seen.check.number) : null);

async function askRoute() {
  if (asking) { askAgain = true; return; }
  asking = true;
  try {
    const answer = await fetch("/route", { signal: AbortSignal.timeout(5000) });
    const got = await answer.json();
    if (answer.ok) routeList = got || {};
  } catch { /* asked again with the next view */ }
  asking = false;
  drawUnits();
  if (toShow) showChosen();
  if (askAgain) { askAgain = false; askRoute(); }
}
// What has just come up under a finger takes no press yet.
const settlesOf = new Map();
function settle(node) {
  clearTimeout(settlesOf.get(node));
  node.classList.add("moved");
  settlesOf.set(node, setTimeout(() => node.classList.remove("moved"), SETTLE_MS));
}
// The chosen unit comes to the top of the list, wherever the rows above it have gone.
function showChosen() {
  const here = $("units").querySelector("[aria-expanded=true]");
  if (!here) return;
  toShow = false;
  const top = here.getBoundingClientRect().top - 16;
  if (innerWidth < 640) scrollBy(0, top);
  else $("round").scrollTop += top - $("round").getBoundingClientRect().top;
  here.focus({ preventScroll: true });
}
function openRound(which, from) {
  const first = !pane;
  if (first) opener = from || document.activeElement;
  pane = which;
  taken = "";
  document.body.classList.add("in-round");
  $("round").hidden = false;
  settle($("round"));
  refuse("", "round-refusal");
  if (which === "route") chosen = str(seen.check && seen.check.unit) || chosen;
  drawRound();
  $("round").scrollTop = 0;
  if (innerWidth < 640) scrollTo(0, 0);
  else $("round").scrollIntoView({ block: "nearest" });
  $("round-title").focus({ preventScroll: true });
  if (which !== "route") return;
  toShow = true;
  askRoute();
}
function leaveRound() {
  if (!pane) return;
  pane = "";
  document.body.classList.remove("in-round");
  $("round").hidden = true;
  drawRound();
  settle($("act"));
  if (innerWidth < 640) scrollTo(0, 0);
  if (opener && opener.isConnected) opener.focus({ preventScroll: true });
}
function row(cls, key, onPress, ...kids) {
  const b = el("button", cls, ...kids);
  b.type = "button";
  b.dataset.key = key;
  b.addEventListener("click", onPress);
  return b;
}
const sign = (word) => (word ? glyph(word) : el("i", "none"));
const count = (n, what) => (n ? `${n} ${what}` : "");
function said(...parts) {
  return parts.filter(Boolean).join(" · ");
}
function checkRow(unit, c) {
  const isArmed = seen.check && str(seen.check.unit) === str(unit.tag) && str(seen.check.component) === str(c.component) && str(seen.check.rule) === str(c.rule);
  const name = `${str(c.component)} / ${str(c.rule)}`;
  const word = str(c.amended) || str(c.word);
  const b = row("check", name, async () => {
    if (await act({ do: "check", unit: str(unit.tag), name }, armedNow(), "round-refusal")) leaveRound();
  }, sign(word), el("span", "what", el("b", "", str(c.component)), el("span", "", str(c.title)),
    el("span", "word", c.danger === true ? el("b", "mark", "DANGER ") : null, c.unsaved === true ? el("b", "mark", "UNSAVED ") : null,
      said(isArmed ? "armed now" : "", str(c.amended) ? `${str(c.word)}, amended: ${str(c.amended)}` : str(c.word), str(c.skipped) ? `skipped: ${str(c.skipped)}` : "", word || str(c.skipped) ? "" : "to do"))));
  if (isArmed) b.setAttribute("aria-current", "true");
  return el("li", "", b);
}
function takeOver(of) {
  return of.can_take_over === true ? holdButton("wide", `Take over the visit at ${str(of.tag)}`,
    () => act({ do: "take_over", tag: str(of.tag) }, null, "round-refusal")) : null;
}
function unitRow(u, open) {
  const worst = str(u.worst);
  const b = row("unit-row", str(u.tag), () => {
    chosen = open ? null : str(u.tag);
    drawUnits();
    showChosen();
  }, sign(worst), el("span", "what", el("b", "tag", str(u.tag)),
    el("span", "", `${num(u.judged) || 0} of ${num(u.count) || 0} have a verdict`),
    el("span", "word", u.danger === true ? el("b", "mark", "DANGER ") : null,
      said(worst ? `worst: ${worst}` : "", count(list(u.owed).length, "to put back"), u.visit_open === true ? "visit open" : "", list(u.elsewhere).length ? "another machine has a visit here" : ""))));
  b.setAttribute("aria-expanded", String(open));
  if (!open) return el("li", "", b);
  const notes = [...list(u.elsewhere), u.lacks ? sentence(u.lacks) : "", ...list(u.owed).map((what) => `To put back: ${str(what)}`)].filter(Boolean);
  return el("li", "chosen", b, ...notes.map((note) => el("p", "note", str(note))), takeOver(u),
    el("ul", "checks", ...list(u.checks).map((c) => checkRow(u, c))),
    list(u.checks).length < num(u.count) ? el("p", "note", "The list is longer than this page shows; the rest comes with Next check.") : null);
}
// A unit's row is made anew only when what it shows has changed, so that focus and a held button survive.
function drawUnits() {
  if (pane !== "route") return;
  put($("round-said"), str(routeList.refused));
  const units = list(routeList.units), armed = seen.check ? [seen.check.unit, seen.check.component, seen.check.rule].map(str) : [];
  const focused = document.activeElement && $("units").contains(document.activeElement) ? document.activeElement.closest("#units > li") : null;
  const key = focused && document.activeElement.dataset.key;
  const rows = units.map((u) => {
    const tag = str(u.tag), open = chosen === tag;
    const from = JSON.stringify([open ? u : { ...u, checks: 0 }, open, open && armed[0] === tag ? armed : 0]);
    const kept = unitRows.get(tag);
    if (kept && kept.from === from) return kept.node;
    const made = { from, node: unitRow(u, open) };
    unitRows.set(tag, made);
    return made.node;
  });
  for (const tag of unitRows.keys()) if (!units.some((u) => str(u.tag) === tag)) unitRows.delete(tag);
  if (num(routeList.units_left_off)) rows.push(el("li", "", el("p", "note", `${routeList.units_left_off} more units are not listed.`)));
  const now = [...$("units").children];
  if (now.length !== rows.length || now.some((node, at) => node !== rows[at])) {
    $("units").replaceChildren(...rows);
    settle($("round"));
  }
  if (key && !$("units").contains(document.activeElement)) {
    const again = [...$("units").querySelectorAll("button")].find((b) => b.dataset.key === key);
    if (again) again.focus({ preventScroll: true });
  }
}
function drawRound() {
  const r = routeOf(), unit = r.unit || null;
  put($("route-sum"), num(r.checks) === null ? "" : `${r.judged} of ${r.checks} checks`);
  put($("work-sum"), unit ? said(view_is_paused() ? "paused" : "", count(list(seen.owed).length, "to put back"), list(unit.elsewhere).length ? "another machine is here" : "")
    || (unit.visit_open === true ? "visit open" : "") : "");
  $("ways").hidden = !!pane;
  if (!pane) return;
  $("route-pane").hidden = pane !== "route";
  $("work-pane").hidden = pane !== "work";
  for (const which of ["route", "work"]) $("to-" + which).setAttribute("aria-pressed", String(pane === which));
  $("to-route").hidden = pane === "route";
  $("to-work").hidden = pane === "work";
  put($("round-title"), pane === "route" ? "This round" : unit ? `At ${str(unit.tag)}` : "No unit is under work");
  put($("round-sum"), pane === "route" && num(r.checks) !== null ? `${r.judged} of ${r.checks} checks have a verdict` : "");
  if (pane === "route") drawUnits();
  else drawWork();
}
// The newest view. What is urgent is never behind the list.
function roundSees(view) {
  const was = num(routeOf().rev);
  seen = view;
  const urgent = [view.danger ? view.danger.advice || "danger" : "", view.check ? str(view.check.alarm) : "", str(view.contradicted)].join("|");
  if (changed("urgent", urgent) && urgent !== "||") leaveRound();
  drawRound();
  if (pane === "route" && (num(routeOf().rev) !== was || num(routeOf().rev) !== num(routeList.rev))) askRoute();
}
const view_is_paused = () => seen.paused === true;
const sentence = (text) => str(text).charAt(0).toUpperCase() + str(text).slice(1) + (/[.!?]$/.test(str(text)) ? "" : ".");
for (const [id, which] of [["open-top", "route"], ["open-route", "route"], ["open-work", "work"], ["to-route", "route"], ["to-work", "work"]])
  $(id).addEventListener("click", () => openRound(which, $(id)));
$("to-check").addEventListener("click", leaveRound);
addEventListener("keydown", (e) => { if (e.key === "Escape" && pane) leaveRound(); });
