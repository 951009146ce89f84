// What changed elsewhere is shown here. No word is lost: the page says up to which word its content is known, and a part that is
// told of a change while it is on its way asks once more.
const RETRY_MS = 5000;
const REFUSED_MS = 30000; // too many pages listen: this one looks by itself
const ON_THE_WAY_MS = 10000;
const kept = document.querySelector("[data-kept-copy]"); // it asks for the newest page by itself, and its content is of then
let place = kept ? "" : document.querySelector("meta[name=aerobe-place]")?.content ?? "";
let ear = null;

export function listenForChanges(onOpen) {
  if (!document.querySelector("[data-live]")) return;
  const deaf = () => { ear?.close(); ear = null; };
  const listen = () => {
    if (ear || document.hidden) return;
    ear = new EventSource(place ? `/live?after=${encodeURIComponent(place)}` : "/live");
    ear.onopen = onOpen;
    ear.addEventListener("place", (event) => { place = event.lastEventId; });
    ear.onmessage = (event) => { place = event.lastEventId; changed(event.data); };
    ear.onerror = () => {
      if (ear?.readyState !== EventSource.CLOSED) return; // it tries again by itself
      deaf();
      setTimeout(() => { if (!ear && !document.hidden) { changed("everything"); listen(); } }, REFUSED_MS);
    };
  };
  listen();
  document.addEventListener("visibilitychange", () => (document.hidden ? deaf() : listen()));
  addEventListener("pagehide", deaf);
  addEventListener("pageshow", listen);
}

function changed(topic) {
  const wanted = topic.replace(" ", ":");
  if (topic.startsWith("alarm")) document.dispatchEvent(new CustomEvent("aerobe:alarm"));
  for (const part of document.querySelectorAll("[data-live]")) {
    if (topic !== "everything" && !part.dataset.live.split(" ").includes(wanted)) continue;
    if (part.dataset.part) showAnew(part.id);
    else renew();
  }
}

// ---- a part: one request at a time, and once more if a word came meanwhile or the line failed ---------------------------
const underWay = new Map(); // id of a part -> whether it is to be asked for again
async function showAnew(id) {
  if (underWay.has(id)) { underWay.set(id, true); return; }
  do {
    underWay.set(id, false);
    const part = document.getElementById(id);
    if (part && !(await arrived(part))) {
      await new Promise((done) => { setTimeout(done, RETRY_MS); });
      underWay.set(id, true);
    }
  } while (underWay.get(id));
  underWay.delete(id);
}

// Whether there is nothing more to ask for: the part came, or the server says that it is not to be had.
async function arrived(part) {
  const answer = await fetch(part.dataset.part, { cache: "no-store", credentials: "same-origin" }).catch(() => null);
  if (answer && answer.status >= 400 && answer.status < 500 && answer.status !== 429) return true;
  const text = answer?.ok ? await answer.text().catch(() => null) : null;
  if (text === null) return false;
  if (part.isConnected) await htmx.swap({ text, target: part, sourceElement: part, swap: "outerHTML" });
  return true;
}

// ---- a page that renews itself must not take away the tap that is on its way to another: it waits until that has had its time
let tapped = -Infinity;
let due = false;
const onItsWay = () => { tapped = performance.now(); };
document.addEventListener("click", (event) => { if (event.target.closest?.("a[href]")) onItsWay(); });
document.addEventListener("submit", onItsWay);

function renew() {
  if (due) return;
  due = true;
  const whenFree = () => {
    const typing = document.querySelector("form:focus-within");
    const left = tapped + ON_THE_WAY_MS - performance.now();
    if (!typing && left <= 0) location.reload();
    else setTimeout(whenFree, typing ? 2000 : left);
  };
  whenFree();
}
