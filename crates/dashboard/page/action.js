// The one next action in the lower half: a hold point, a question, a reading, or on to the next check.
// It shows what the view asks for; what may be done is the daemon's to say.
const SETTLE_MS = 500;
let settling = 0;
function nextAction(view) {
  const c = view.check;
  if (!c) return view.route_ended === true ? { kind: "ended", prompt: "No check is left on the route." } : { kind: "idle" };
  const id = { check: num(c.number) };
  if (view.paused === true) return { ...id, kind: "paused", prompt: str(c.prompt) };
  if (str(view.contradicted)) return { ...id, kind: "contradicted", prompt: str(c.prompt) };
  if (str(c.question)) return { ...id, kind: "question", question: num(c.question_number), text: str(c.question),
    held: c.question_shows === true };
  const hold = list(c.hold_points).find((h) => h.state === "asked");
  if (hold && c.phase !== "done") {
    return { ...id, kind: "hold", name: str(hold.name), ask: str(hold.ask), caution: str(hold.caution),
      stream: hold.by_stream === true, detail: str(hold.detail), cautions: list(c.cautions).map(str), alarm: str(c.alarm), proof: proofOf(c.proof) };
  }
  if (view.route_ended === true && c.phase === "done") return { ...id, kind: "ended", prompt: str(c.prompt) };
  if (c.phase === "done") return { ...id, kind: "done", amended: !!amendment(view), danger: !!view.danger };
  const point = list(c.points).find((p) => p.state === "asked" || p.state === "settling");
  const typed = point && (!view.live || point.typed === true);
  return { ...id, kind: "measure", prompt: str(c.prompt), cautions: list(c.cautions).map(str), point: point ? str(point.name) : null,
    label: point ? str(point.label) || str(point.name) : "", unit: point ? str(point.unit) : "", typed: !!typed };
}
// A hold point that is read pair by pair: what is to be named next.
function proofOf(proof) {
  if (!proof) return null;
  const pairs = list(proof.pairs).map((p) => ({ pair: str(p.pair), shown: str(p.shown) }));
  return { source: proof.wants_source === true, next: str(proof.next_pair), freely: proof.named_freely === true && proof.wants_source !== true, pairs,
    begun: pairs.some((p) => p.shown) };
}
const SOURCES = ["proving unit", "receptacle of another circuit"];
const inWords = (pair) => (pair.includes(" ") ? pair : pair.replace("-", " to "));
function proofButtons(proof, send) {
  if (!proof) return [];
  if (proof.source) return [el("div", "two", ...SOURCES.map((what) => tapButton("main source", what, send({ do: "source", what }))))];
  return proof.next ? [tapButton("main", "On " + inWords(proof.next), send({ do: "on", pair: proof.next }))] : [];
}
function proofRead(proof) {
  return proof && proof.begun ? el("p", "pairs", ...proof.pairs.map((p) => el("span", p.shown ? "read" : "", `${p.pair} ${p.shown}`))) : null;
}
function cautionBlock(lines) {
  const said = [...new Set(lines.filter(Boolean))];
  return said.length ? el("div", "caution", el("h3", "", "Caution"), ...said.map((c) => el("p", "", c))) : null;
}
function drawAction(view) {
  const a = nextAction(view);
  drawEntry(a);
  if (!changed("action", a)) return;
  // A word of refusal stays while the same thing is asked, and is gone with it.
  if (changed("asked", [a.kind, a.check, a.name, a.point, a.question, a.text])) refuse("");
  const send = (body) => () => act(body, a.check ?? null);
  const build = {
    idle: () => [el("div", "text", el("h2", "", "No check is armed")), el("div", "two", tapButton("main second", "Choose a check", (e) => openRound("route", e.currentTarget)),
      tapButton("main", "Start the next check", send({ do: "next" })))],
    question: () => [el("div", "text", el("h2", "", "Question"), el("p", "ask", a.text)),
      el("div", "two", (a.held ? holdButton : tapButton)("main", "Yes", send({ do: "answer", question: a.question, yes: true })),
        tapButton("main second", "No", send({ do: "answer", question: a.question, yes: false })))],
    hold: () => {
      const begun = a.proof && a.proof.begun, buttons = proofButtons(a.proof, send);
      return [a.alarm ? el("p", "alarm", a.alarm) : null,
        el("div", "text", el("h2", "", "Hold point: " + a.name), begun ? null : el("p", "ask", a.ask), begun ? null : cautionBlock([a.caution]), proofRead(a.proof),
          a.stream && (a.detail || !a.proof) ? el("p", "meter", a.detail ? "Meter: " + a.detail : "The meter can show this one by itself; or confirm it.") : null),
        ...buttons, holdButton(a.proof ? "wide" : "main", "Confirm: " + a.name, send({ do: "confirm", hold_point: a.name }))];
    },
    contradicted: () => [el("div", "text", el("h2", "", "Stop: this unit shows life"), el("p", "ask", a.prompt)),
      holdButton("main", "It was switched on on purpose", send({ do: "energised" }))],
    paused: () => [el("div", "text", el("h2", "", "Paused"), el("p", "ask", a.prompt)),
      tapButton("main", "Resume the visit", send({ do: "resume" }))],
    ended: () => [el("div", "text", el("h2", "", "End of the route"), el("p", "ask", a.prompt)),
      el("div", "two", tapButton("main second", "Back", send({ do: "back" })), tapButton("main", "Close the visit", closeVisit))],
    measure: () => {
      return [el("div", "text", el("h2", "", a.typed ? "Type the reading" : "Measure"), el("p", "ask", a.prompt), cautionBlock(a.cautions))];
    },
    // After an amendment the way on is to measure again.
    done: () => [el("div", "two", tapButton(a.amended ? "main" : "main second", "Again", send({ do: "again" })),
      tapButton(a.amended || a.danger ? "main second" : "main", "Next check", send({ do: "next" })))],
  }[a.kind];
  $("act").dataset.kind = a.kind;
  $("panel").replaceChildren(...build().filter(Boolean));
  // What has just come up under a finger takes no press yet: the press was meant for what stood there before.
  clearTimeout(settling);
  $("panel").inert = true;
  if (changed("moved", [a.kind, a.check])) $("entry").classList.add("moved");
  settling = setTimeout(() => {
    $("panel").inert = false;
    $("entry").classList.remove("moved");
  }, SETTLE_MS);
}
function drawHolds(view) {
  const c = view.check, holds = c ? list(c.hold_points) : [];
  $("holds").hidden = !c;
  if (!c || !changed("holds", [c.number, c.phase, holds.map((h) => ({ ...h, lapses_in_s: minutes(h.lapses_in_s) }))])) return;
  const shown = holds.filter((h) => h.state === "shown").length;
  $("holds-sum").replaceChildren(el("span", "blocks", ...holds.map((h) => el("i", "b-" + (h.state === "shown" || h.state === "asked" ? h.state : "waiting")))),
    `${shown} of ${holds.length} hold points shown`);
  const rows = holds.map((h) => {
    const word = h.state === "shown" ? `shown, ${str(h.how)}` : h.state === "asked" ? "asked now" : "waiting";
    const lapse = minutes(h.lapses_in_s);
    return el("div", "row b-" + (h.state === "shown" ? "shown" : "waiting"), el("div", "", el("h3", "", `${str(h.name)}: ${word}`), el("p", "src", str(h.detail)),
      lapse && h.state === "shown" ? el("p", "src", `lapses in ${lapse}`) : null),
      h.state === "shown" ? tapButton("side", "Withdraw", () => act({ do: "withdraw", hold_point: str(h.name) }, num(c.number))) : null);
  });
  $("holds-list").replaceChildren(...rows);
}
// What was taken off or forced, until somebody says that it is back.
function drawOwed(view) {
  const owed = list(view.owed).map(str);
  if (!changed("owed", owed)) return;
  $("owed").hidden = !owed.length;
  $("owed-list").replaceChildren(...owedRows());
}
function minutes(seconds) {
  const s = num(seconds);
  return s === null ? "" : s < 60 ? "under a minute" : s < 7200 ? `${Math.floor(s / 60)} min` : `${Math.floor(s / 3600)} h`;
}
