// Buttons and the one way to act. A safety button is held for a second; keys: hold Enter, or press twice in 3 s.
const HOLD_MS = 1000, AGAIN_MS = 3000;
let busy = false, letGo = null, heldOut = false;
// What a hold has done may move another button under the finger that still holds; letting go there is no press.
addEventListener("click", (e) => {
  if (!heldOut || e.detail === 0) return;
  e.preventDefault();
  e.stopPropagation();
}, true);
addEventListener("pointerdown", () => { heldOut = false; }, true);
for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => setTimeout(() => { heldOut = false; }, 400), true);
document.addEventListener("visibilitychange", () => { if (letGo) letGo(); });

function refuse(text, where = "refusal") {
  put($(where), text);
}
// A refusal stands where the press was: beside the armed check, or in the round.
async function act(body, check, where) {
  if (busy || !linked()) return false;
  busy = true;
  document.body.classList.add("busy");
  refuse("", where);
  try {
    const answer = await fetch("/act", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Cliplead": "1" },
      body: JSON.stringify({ ...body, check }),
      signal: AbortSignal.timeout(5000),
    });
    const said = await answer.json().catch(() => ({}));
    if (answer.ok && said.ok === true) return true;
    refuse("Refused: " + (str(said.why) || `the daemon answered ${answer.status}`), where);
  } catch {
    refuse("Not known to be taken: the link broke. Look at the page before you press again.", where);
  } finally {
    busy = false;
    document.body.classList.remove("busy");
  }
  return false;
}
function tapButton(cls, label, onPress) {
  const b = el("button", cls, el("span", "label", label));
  b.type = "button";
  b.addEventListener("click", onPress);
  return b;
}
function holdButton(cls, label, onDone) {
  const hint = el("span", "hint", "press and hold 1 s");
  const b = el("button", cls + " hold", el("span", "fill"), el("span", "label", label), hint);
  b.type = "button";
  let timer = 0, armedAt = -Infinity, down = false;
  const say = (text) => { hint.textContent = text; };
  const cancel = () => {
    clearTimeout(timer);
    timer = 0;
    b.classList.remove("held");
  };
  const done = () => {
    heldOut = down;
    down = false;
    cancel();
    armedAt = -Infinity;
    letGo = null;
    if (!b.isConnected || !linked() || document.hidden) return;
    say("sent");
    onDone().then((ok) => say(ok ? "taken" : "press and hold 1 s"));
  };
  const begin = () => {
    if (timer || busy || !linked()) return;
    b.classList.add("held");
    say("keep holding");
    timer = setTimeout(done, HOLD_MS);
    letGo = stop;
  };
  const stop = () => {
    if (!timer) return;
    cancel();
    down = false;
    say("press and hold 1 s");
  };
  const press = () => {
    if (performance.now() - armedAt < AGAIN_MS) return done();
    armedAt = performance.now();
    say("press again within 3 s");
    setTimeout(() => { if (!timer && performance.now() - armedAt >= AGAIN_MS) say("press and hold 1 s"); }, AGAIN_MS);
  };
  b.addEventListener("pointerdown", (e) => {
    if (e.button !== 0 || !e.isPrimary) return;
    down = true;
    try { b.setPointerCapture(e.pointerId); } catch { /* gone already */ }
    begin();
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) b.addEventListener(end, stop);
  b.addEventListener("pointermove", (e) => {
    const r = b.getBoundingClientRect();
    if (e.clientX < r.left - 24 || e.clientX > r.right + 24 || e.clientY < r.top - 24 || e.clientY > r.bottom + 24) stop();
  });
  b.addEventListener("contextmenu", (e) => e.preventDefault());
  b.addEventListener("keydown", (e) => {
    if (e.key !== "Enter" && e.key !== " ") return;
    e.preventDefault();
    if (!e.repeat) begin();
  });
  b.addEventListener("keyup", (e) => {
    if (e.key !== "Enter" && e.key !== " ") return;
    e.preventDefault();
    if (timer) { stop(); press(); }
  });
  // A click that no pointer made: a screen reader or a switch.
  b.addEventListener("click", (e) => { if (e.detail === 0) press(); });
  return b;
}
