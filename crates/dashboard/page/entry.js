// The form for a reading typed in. It stands beside the panel, not in it: what is being typed outlives every change of
// the view, until it is sent or another check is armed. It carries the point that it was opened for.
let entry = null;
// What the newest view asks for; one that came while digits stood in the form is drawn when they are sent.
let asked = null;

function wantedEntry(a) {
  return a.kind === "measure" && a.point ? { check: a.check, point: a.point, label: a.label, unit: a.unit, typed: a.typed } : null;
}
// Digits stand in it, or the keyboard is on it, and they were not sent yet.
function inUse(check) {
  return !!entry && entry.check === check && !entry.sent && (entry.input.value !== "" || document.activeElement === entry.input);
}
function entryForm(from) {
  const input = el("input");
  Object.assign(input, { id: "typed", type: "text", inputMode: "decimal", autocomplete: "off", enterKeyHint: "send", maxLength: 40 });
  const label = el("label", "", from.label);
  label.htmlFor = "typed";
  const send = el("button", "main", el("span", "label", "Enter reading"));
  send.type = "submit";
  const form = el("form", "entry", label, el("div", "field", input, el("span", "unit", from.unit)), send);
  const made = { check: from.check, input, sent: false, details: from.typed ? null : el("details", "", el("summary", "", "Type it in instead"), form) };
  made.node = made.details || form;
  if (made.details) made.details.addEventListener("toggle", () => { if (made.details.open) input.focus(); });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const text = input.value.trim();
    if (!text) { refuse("Type the value that the meter shows, then press again."); input.focus(); return; }
    const own = /[a-z%°µΩ]/i.test(text.replace(/e[-+]?\d+$/i, ""));
    made.sent = false;
    if (!await act({ do: "typed", point: from.point, value: own || !from.unit ? text : `${text} ${from.unit}` }, from.check)) return;
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
  if (inUse(a.check) || !changed("entry", from)) return;
  const was = entry && from && entry.check === from.check ? entry : null;
  const focused = !!was && document.activeElement === was.input;
  entry = from ? entryForm(from) : null;
  if (was) entry.input.value = was.input.value;
  if (was && entry.details) entry.details.open = !was.details || was.details.open;
  $("entry").replaceChildren(...(entry ? [entry.node] : []));
  if (focused) entry.input.focus();
}
