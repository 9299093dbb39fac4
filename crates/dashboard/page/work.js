// "At RTU-07": what can be done at the unit under work beside the armed check. Each button is an act; the daemon says what comes of it.
const ASKS = {
  skip: { title: "Why is this check skipped?", choices: ["No access", "Not fitted on this unit", "Unit cannot be shut down now", "Rain or lightning", "Meter or tool missing"],
    label: "Or in your own words", press: [["Skip for this reason", (why) => ({ do: "skip", why })]], leaves: true },
  finding: { title: "What did you see?", choices: [], label: "In your own words",
    press: [["As found", (text) => ({ do: "finding", text, as_left: false })], ["As left", (text) => ({ do: "finding", text, as_left: true })]] },
  close: { title: "Not in order yet", choices: ["Part on order", "Coming back later", "Left off on purpose"], held: true,
    label: "Close all the same, because", press: [["Close with this reason", (why) => ({ do: "close", why })]], leaves: true },
};
let askNode = null, taken = "";

// What was taken is said as long as nothing else is done.
async function atWork(body) {
  taken = "";
  const ok = await act(body, armedNow(), "round-refusal");
  taken = ok && body.do === "finding" ? `Taken, as ${body.as_left ? "left" : "found"}: ${body.text}` : "";
  drawWork();
  return ok;
}
async function then(sent, leaves) {
  const ok = await sent;
  if (ok) stopAsking();
  if (ok && leaves) leaveRound();
  return ok;
}
function stopAsking() {
  askNode = null;
  $("work-ask").replaceChildren();
  drawWork();
}
// A form for words, made once when it is opened: what is typed in it outlives every view.
function ask(kind, why) {
  const of = ASKS[kind], input = el("input", "words"), button = of.held ? holdButton : tapButton;
  Object.assign(input, { id: "words", type: "text", autocomplete: "off", maxLength: 160, enterKeyHint: of.held ? "done" : "send" });
  const label = el("label", "", of.label);
  label.htmlFor = "words";
  const send = (make) => async () => {
    const text = input.value.trim();
    if (text) return then(atWork(make(text)), of.leaves);
    refuse("Type it in your own words first, then press again.", "round-refusal");
    input.focus();
    return false;
  };
  const form = el("form", "entry", el("h3", "", of.title), why ? el("p", "note", why) : null,
    of.choices.length ? el("div", "choices", ...of.choices.map((choice) => button("side", choice, () => then(atWork(of.press[0][1](choice)), of.leaves)))) : null,
    label, input, el("div", of.press.length > 1 ? "two" : "", ...of.press.map(([text, make]) => button("wide", text, send(make)))),
    tapButton("wide", "Not now", () => { refuse("", "round-refusal"); stopAsking(); }));
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    if (of.held) refuse("Press and hold the button to close the visit.", "round-refusal");
    else send(of.press[0][1])();
  });
  askNode = form;
  // What is owed stays beside the question why the visit is closed all the same.
  form.dataset.kind = kind;
  $("work-ask").replaceChildren(form);
  settle($("round"));
  drawWork();
  form.scrollIntoView({ block: "nearest" });
  (form.querySelector("button") || input).focus({ preventScroll: true });
}
// What is owed, each with a button of its own that is held.
function owedRows(where) {
  return list(seen.owed).map(str).map((what) => el("div", "row", el("p", "", what),
    holdButton("wide", "It is back", () => act({ do: "restored", what }, null, where))));
}
// A close that is refused says what is owed, and asks for a reason.
async function closeVisit() {
  const where = pane ? "round-refusal" : "refusal";
  refuse("", where);
  if (await act({ do: "close" }, armedNow(), where)) return leaveRound();
  const why = $(where).textContent;
  // A broken link is no refusal: nobody said that a reason would do.
  if (!why.startsWith("Refused: ")) return;
  refuse("", where);
  openRound("work", document.activeElement);
  ask("close", why.replace(/^Refused: /, ""));
}
function drawWork() {
  if (pane !== "work") return;
  put($("round-said"), taken);
  const unit = routeOf().unit || null, c = seen.check, owed = list(seen.owed).map(str);
  const says = unit ? [unit.visit_open === true ? "A visit is open." : "No visit is open; it begins with the first thing done.", ...list(unit.elsewhere).map(str), unit.lacks ? sentence(unit.lacks) : ""]
    : ["Choose a check of a unit first."];
  put($("work-says"), says.filter(Boolean).join(" "));
  if (changed("work-owed", owed)) $("work-owed").replaceChildren(...(owed.length ? [el("h3", "", "To put back"), ...owedRows("round-refusal")] : []));
  $("work-ask").hidden = !askNode;
  $("work-owed").hidden = $("work-says").hidden = !!askNode && askNode.dataset.kind !== "close";
  $("work-acts").hidden = !!askNode || (!unit && !c);
  const from = [!!c, c && c.phase === "done", view_is_paused(), unit && str(unit.tag), !!unit && unit.can_take_over === true];
  if (!changed("work", from)) return;
  const open = c && c.phase !== "done";
  $("work-acts").replaceChildren(...[
    unit && takeOver(unit),
    el("div", "two fill-up", ...[open ? tapButton("wide", "Skip this check", () => ask("skip")) : null,
      view_is_paused() ? tapButton("wide", "Resume the visit", () => atWork({ do: "resume" })) : tapButton("wide", "Pause the visit", () => atWork({ do: "pause" })),
      tapButton("wide", "Note a finding", () => ask("finding")), tapButton("wide", "Close the visit", closeVisit)].filter(Boolean)),
    c ? el("div", "three", ...[["Back", "back"], ["Again", "again"], ["Next check", "next"]].map(([text, word]) => tapButton("wide", text, () => then(atWork({ do: word }), true)))) : null,
    c ? tapButton("wide", "Again, as left", () => then(atWork({ do: "again", as_left: true }), true)) : null,
    holdButton("wide", "Power is back on", () => atWork({ do: "energised" })),
    open ? holdButton("wide", "End this check now", () => then(atWork({ do: "finish" }), true)) : null,
  ].filter(Boolean));
}
