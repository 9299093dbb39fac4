// One view onto the page. It shows what it is given and works nothing out about the part under test.
const STATES = {
  "live": "live", "held": "HELD: the meter's display is frozen", "stale": "STALE: the meter has gone quiet",
  "overload": "OVERLOAD: beyond the meter's range", "no value": "no value",
};

function drawArmed(view) {
  const c = view.check;
  put($("title"), c ? str(c.title) : "");
  put($("unit"), c ? str(c.unit) : "No check armed");
  put($("component"), c ? str(c.component) : "");
  put($("site"), [str(view.unit_state) ? `unit ${str(view.unit_state)}` : "", c && num(c.number) !== null ? `check ${c.number}` : "", str(view.site)].filter(Boolean).join(", "));
  put($("plate"), c ? list(c.plate).map((p) => [p.name, p.value, p.unit].map(str).filter(Boolean).join(" ") + (str(p.source) ? ` (${str(p.source)})` : "")).join("; ") : "");
}
function drawLive(view) {
  const l = view.live, box = $("live");
  document.body.classList.toggle("judged", !!standing(view) || !!amendment(view) || !!view.danger);
  box.hidden = !view.check && !l;
  const state = l ? str(l.state) : "none";
  box.className = "s-" + (STATES[state] ? state.split(" ")[0] : "other");
  const points = view.check ? list(view.check.points).filter((p) => str(p.shown)) : [];
  const typed = points.map((p) => str(p.shown)).pop() || "";
  put($("value"), l ? str(l.shown) || "\u2014" : typed || "\u2014");
  const age = l && state === "stale" && num(l.age_ms) !== null ? `, last heard ${Math.round(l.age_ms / 1000)} s ago` : "";
  const words = l ? [state === "live" && str(l.settling) ? str(l.settling) : (STATES[state] || state) + age, ...list(l.flags).map(str), str(l.device)]
    : [typed ? "typed in" : "no meter connected"];
  put($("state"), words.filter((w) => w && w !== str(l && l.shown)).join(" · "));
}
function drawRuler(view) {
  // A word that was contradicted has no pointer any more.
  const r = view.check && !amendment(view) && view.check.ruler;
  const past = (!standing(view) || !!view.danger) && view.live && view.live.state !== "live";
  if (changed("ruler", [r, past])) {
    const drawn = r ? ruler(r) : null;
    $("scale").hidden = !drawn;
    $("scale").className = past ? "past" : "";
    $("scale").replaceChildren(...(drawn ? [drawn] : []));
  }
}
function health(d) {
  const why = list(d.reasons).map((r) => `${str(r.reason)} ${str(r.count)}`).join(", ");
  const asked = num(d.asked) === null ? "" : `, asked ${str(d.asked)} times, ${str(d.unanswered)} unanswered`;
  return `${str(d.name)}: ${str(d.state)}, ${str(d.readings)} readings, ${str(d.drops)} dropped${why ? ` (${why})` : ""}${asked}`;
}
function drawFoot(view) {
  put($("devices"), list(view.devices).map(health).join("; "));
  const r = view.rules || {};
  put($("rules"), view.rules ? `${str(r.count)} rules, set ${str(r.hash).slice(0, 8)}` : "");
  const faults = list(view.faults).map(str);
  if (changed("faults", faults)) $("faults").replaceChildren(...faults.map((f) => el("p", "", f)));
  $("faults").hidden = !faults.length;
}
function draw(view) {
  roundSees(view);
  drawArmed(view);
  drawLive(view);
  drawVerdict(view);
  drawRuler(view);
  drawAction(view);
  drawHolds(view);
  drawOwed(view);
  drawRecent(view);
  drawFoot(view);
}
