// The link, and the page's own ageing. Each event's id says when the server sent it and how old the view was then;
// with that the page knows the age of what it shows, whatever sleeps: server, daemon, network, tab or phone.
const LOST_MS = 4000, TICK_MS = 250, RETRY_MS = 2000;
let source = null, openedAt = 0, goodAt = -Infinity, least = Infinity, fault = "", bornAt = 0;
let spent = 0, perfAt = performance.now(), dateAt = Date.now();

// Runs on through a suspended phone, where performance.now() may stand still. Never goes back.
function now() {
  const perf = performance.now(), date = Date.now();
  spent += Math.max(perf - perfAt, date - dateAt, 0);
  perfAt = perf;
  dateAt = date;
  return spent;
}
function linked() {
  return fault === "" && !document.hidden && now() - goodAt <= LOST_MS;
}
function heard(event) {
  const [sent, age] = event.lastEventId.split("/").map(Number);
  if (!Number.isFinite(sent) || !Number.isFinite(age)) return;
  const at = now();
  least = Math.min(least, at - sent);
  goodAt = Math.max(goodAt, at - age - (at - sent - least));
}
function show(event) {
  heard(event);
  try {
    draw(JSON.parse(event.data) || {});
    fault = "";
  } catch (error) {
    fault = "the page could not draw what it was sent";
    console.error(error);
  }
  tick();
}
function connect() {
  if (source) source.close();
  openedAt = now();
  least = Infinity;
  source = new EventSource("/events");
  source.addEventListener("view", show);
  source.addEventListener("beat", (event) => { heard(event); tick(); });
}
function tick() {
  const at = now(), ok = linked(), quiet = at - Math.max(goodAt, bornAt);
  document.body.classList.toggle("nolink", !ok);
  $("link").hidden = ok;
  if (ok) return;
  put($("link-word"), `NO LINK ${Math.max(0, Math.floor(quiet / 1000))} s`);
  put($("link-why"), fault || (goodAt === -Infinity ? "No daemon heard yet." : "The daemon is not heard. What stands here is old: do not act on it."));
  // An open stream that says nothing, or one that the browser gave up, is made anew.
  const since = at - openedAt;
  if (!document.hidden && (since > LOST_MS || (source && source.readyState === 2 && since > RETRY_MS))) connect();
}
document.addEventListener("visibilitychange", () => {
  // Coming back, nothing counts as live until the server has spoken again. Going away frees the connection.
  goodAt = -Infinity;
  bornAt = now();
  if (document.hidden) source.close();
  else connect();
  tick();
});
addEventListener("pageshow", (event) => { if (event.persisted) { goodAt = -Infinity; connect(); tick(); } });
setInterval(tick, TICK_MS);
bornAt = now();
connect();
