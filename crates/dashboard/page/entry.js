// The form for a reading typed in. It stands beside the panel, not in it: what is being typed outlives every change of
// the view, until it is sent or another check is armed. It carries the point that it was opened for.
let entry = null;
// What the newest view asks for; one that came while digits stood in the form is drawn when they are sent.
let asked = null;

function wantedEntry(a) {
  const proof = a.kind === "hold" ? a.proof : null;
  if (proof && proof.source) return { check: a.check, names: "source", label: "Or name another live source", unit: "", typed: true };
  if (proof && proof.freely) return { check: a.check, names: "pair", label: "Or name another pair, such as L2-L3", unit: "", typed: true };
  return a.kind === "measure" && a.point ? { check: a.check, point: a.point, label: a.label, unit: a.unit, typed: a.typed } : null;
}
// Digits stand in it, or the keyboard is on it, and they were not sent yet.
function inUse(from, check) {
  if (entry && entry.names && entry.names !== (from && from.names)) return false;
  return !!entry && entry.check === check && !entry.sent && (entry.input.value !== "" || document.activeElement === entry.input);
}
function entryForm(from) {
  const input = el("input");
  Object.assign(input, { id: "typed", type: "text", inputMode: from.names ? "text" : "decimal", autocomplete: "off", enterKeyHint: "send", maxLength: from.names ? 80 : 40 });
  const label = el("label", "", from.label);
  label.htmlFor = "typed";
  const send = el("button", "main", el("span", "label", from.names ? `Name the ${from.names}` : "Enter reading"));
  send.type = "submit";
  const form = el("form", "entry", label, el("div", "field", input, el("span", "unit", from.unit)), send);
  const made = { check: from.check, names: from.names, input, sent: false, details: from.typed ? null : el("details", "", el("summary", "", "Type it in instead"), form) };
  made.node = made.details || form;
  if (made.details) made.details.addEventListener("toggle", () => { if (made.details.open) input.focus(); });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const text = input.value.trim();
    if (!text) { refuse(from.names ? `Type the ${from.names}, then press again.` : "Type the value that the meter shows, then press again."); input.focus(); return; }
    const own = /[a-z%°µΩ]/i.test(text.replace(/e[-+]?\d+$/i, ""));
    made.sent = false;
    const value = { do: "typed", point: from.point, value: own || !from.unit ? text : `${text} ${from.unit}` };
    const body = from.names === "source" ? { do: "source", what: text } : from.names === "pair" ? { do: "on", pair: text } : value;
    if (!await act(body, from.check)) return;
    // What is typed from now on is meant for what is asked next.
    input.value = "";
    made.sent = true;
    if (asked) drawEntry(asked);
  });
  return made;
}
function drawEntry(a) {
  asked = a;
  const from = wantedEntry(a);
  if (inUse(from, a.check) || !changed("entry", from)) return;
  const was = entry && from && entry.check === from.check && entry.names === from.names ? entry : null;
  const focused = !!was && document.activeElement === was.input;
  entry = from ? entryForm(from) : null;
  if (was) entry.input.value = was.input.value;
  if (was && entry.details) entry.details.open = !was.details || was.details.open;
  $("entry").replaceChildren(...(entry ? [entry.node] : []));
  if (focused) entry.input.focus();
}
