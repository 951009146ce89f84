// Entries typed on this device wait here until the server has them: kept first, sent after, in order, each once.
// Each has a token made when its form was filled, and the server keeps an entry with a known token only once.
// A photo waits apart from its entry: the number must never wait for a picture, nor be lost with it.

const NAME = "aerobe-entries";
const RETRY_MS = 8000;
const CLOCK = "aerobe-clock";
const CLOCK_MOVED_MS = 60000;
const OLD_SECOND_MS = 3000; // the server tells whole seconds, and a busy one tells an old one
let opened;

function base() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore("entries", { keyPath: "order", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  }).catch((fault) => { opened = undefined; throw fault; });
  return opened;
}

async function within(mode, act) {
  const transaction = (await base()).transaction("entries", mode, { durability: "strict" });
  const store = transaction.objectStore("entries");
  const request = act(store);
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error ?? new Error("the store gave up"));
  });
}

export const all = () => within("readonly", (store) => store.getAll());
export const remove = (order) => within("readwrite", (store) => store.delete(order));
const put = (entry) => within("readwrite", (store) => store.put(entry));
const add = (entry) => within("readwrite", (store) => store.add(entry));

export function newToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(15));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// ---- the server's time: a phone's clock may be wrong, and may be put right while an entry waits ----------------------
let met = null; // the last contact of this page: server, wall and monotonic clock

function contactAt(answer, asked) {
  const server = Date.parse(answer.headers.get("date") ?? "");
  if (Number.isNaN(server)) return;
  const wall = Date.now();
  const known = met ? met.server - met.wall : storedOffset();
  // The server told its second at some moment between asking and hearing. One offset as long as it can be true, or two entries
  // typed one after the other could change their order where answers are slow.
  const holds = known >= server - wall && known <= server + OLD_SECOND_MS - asked;
  const offset = holds ? known : server - wall;
  met = { server: wall + offset, wall, steady: performance.now() };
  try { localStorage.setItem(CLOCK, JSON.stringify({ offset })); } catch { /* no store: the wall clock must do */ }
}

function storedOffset() {
  try { return JSON.parse(localStorage.getItem(CLOCK))?.offset ?? 0; } catch { return 0; }
}

// When it is now on the server's clock, as well as this device can tell, and how far that may be off [ms].
function serverNow() {
  const wall = Date.now();
  if (!met) return { at: wall + storedOffset(), doubt: 0 };
  const drift = wall - met.wall - (performance.now() - met.steady);
  // A steady clock may sleep with the device, so only a wall clock that fell behind it was surely put back.
  if (drift < -CLOCK_MOVED_MS) return { at: met.server + performance.now() - met.steady, doubt: -drift };
  return { at: wall + met.server - met.wall, doubt: drift > CLOCK_MOVED_MS ? drift : 0 };
}

async function reached() {
  const asked = Date.now();
  contactAt(await fetch("/app.webmanifest", { cache: "no-store", signal: AbortSignal.timeout(8000) }), asked);
}

// ---- keeping --------------------------------------------------------------------------------------------------------
export function read(form, submitter) {
  const fields = [];
  const photos = [];
  for (const [name, value] of new FormData(form, submitter)) {
    if (name === "form_token" || name === "age_s") continue;
    if (value instanceof File) { if (value.size) photos.push(value); continue; }
    fields.push([name, value]);
  }
  const said = fields.find(([name]) => name === "signal");
  const unit = fields.find(([name]) => name === "signal_unit");
  const says = `${form.dataset.says}${said ? `: ${said[1]} ${unit ? unit[1] : ""}` : ""}`;
  const clock = serverNow();
  const entry = {
    address: form.getAttribute("action"), fields, says, at: Date.now(), server_at: clock.at, doubt: clock.doubt, refused: null,
  };
  return { entry, photo: photos[0] ?? null };
}

// The number first, by itself: nothing that can go wrong with a photo touches it.
export async function keep({ entry, photo }) {
  entry.order = await add(entry);
  if (!photo) return { entry, photoKept: true };
  try {
    const token = entry.fields.find(([name]) => name === "entry")?.[1] ?? "";
    const small = await shrunk(photo);
    await add({
      address: `${entry.address}/r-${token}/photo`.slice(0, 400), photo: small, after: entry.order, fields: [["entry", newToken()]],
      says: `Photo of ${entry.says}`, at: entry.at, server_at: entry.server_at, doubt: 0, refused: null,
    });
    return { entry, photoKept: true };
  } catch (fault) {
    console.error("photo", fault);
    return { entry, photoKept: false };
  }
}

const LONG_SIDE = 1600;
async function shrunk(photo) {
  try {
    const picture = await createImageBitmap(photo);
    const scale = Math.min(1, LONG_SIDE / Math.max(picture.width, picture.height));
    if (scale === 1 && photo.size < 600000) return photo;
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const made = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85));
    return made && made.size < photo.size ? new File([made], "photo.jpg", { type: "image/jpeg" }) : photo;
  } catch { return photo; }
}

export async function askToStay() {
  try { return (await navigator.storage?.persisted?.()) || (await navigator.storage?.persist?.()) || false; } catch { return false; }
}

// ---- sending --------------------------------------------------------------------------------------------------------
export async function send(entry) {
  const body = new FormData();
  for (const [name, value] of entry.fields) body.append(name, value);
  if (entry.photo) body.append("photo", entry.photo, entry.photo.name ?? "photo.jpg");
  // The age and not the hour, by the server's clock at both ends: a phone whose clock is wrong still gives the right time.
  const age = (serverNow().at - (entry.server_at ?? entry.at)) / 1000;
  body.append("age_s", Math.max(0, age).toFixed(3));
  body.append("sent_at_ms", serverNow().at.toFixed(0)); // a slow line makes it older still
  if (entry.doubt) body.append("clock_doubt_s", (entry.doubt / 1000).toFixed(0));
  const headers = { Accept: "application/json", "X-Aerobe-Form": document.querySelector("meta[name=aerobe-form]").content };
  // A slow line carries some 15 kB a second.
  const patience = 15000 + (entry.photo?.size ?? 0) / 15;
  const asked = Date.now();
  const answer = await fetch(entry.address, {
    method: "POST", body, headers, redirect: "manual", signal: AbortSignal.timeout(patience),
  });
  contactAt(answer, asked);
  return answer;
}

// What the server says to one entry: kept, refused for good, or not reached.
async function deliver(entry) {
  let answer;
  try {
    answer = await send(entry);
  } catch {
    return { state: "waiting" };
  }
  if (answer.type === "opaqueredirect") { await remove(entry.order); return { state: "kept", says: "Kept.", go_to: null }; }
  const told = await answer.json().catch(() => ({}));
  if (answer.ok) { await remove(entry.order); return { state: "kept", ...told }; }
  if (answer.status >= 500 || answer.status === 429 || answer.status === 408) return { state: "waiting", ...told };
  if (answer.status === 403) {
    // Another pairing or a new memory of the app: a fresh page brings a fresh token, the entry waits for it.
    await put({ ...entry, refused: { problem: told.problem ?? "Not let in.", remedy: told.remedy ?? "Open the page again." }, again: true });
    return { state: "refused", ...told };
  }
  await put({ ...entry, refused: { problem: told.problem ?? `Refused (${answer.status}).`, remedy: told.remedy ?? "Change it and send it again." } });
  return { state: "refused", ...told };
}

let busy = null;
// Sends what waits, oldest first; stops where the server is not reached, so that the order holds. Photos come last.
export function flush() {
  busy ??= locked(async () => {
    const results = new Map();
    try { await reached(); } catch { return results; }
    const waiting = (await all()).filter((entry) => !entry.refused || entry.again);
    for (const entry of waiting.filter((item) => !item.photo)) {
      const result = await deliver(entry);
      results.set(entry.order, result);
      if (result.state === "waiting") break;
    }
    const still = new Set((await all()).map((entry) => entry.order));
    for (const entry of waiting.filter((item) => item.photo && !still.has(item.after))) {
      results.set(entry.order, await deliver(entry));
    }
    return results;
  }).finally(() => { busy = null; });
  return busy;
}

// Two open pages must not send the same entry at the same time; the server would keep it once, but answer twice.
function locked(work) {
  return navigator.locks ? navigator.locks.request("aerobe-entries", work) : work();
}

export async function sendAgain(order) {
  const entry = (await all()).find((item) => item.order === order);
  if (entry) await put({ ...entry, refused: null });
}

export function keepTrying(changed) {
  const go = async () => {
    if (!(await all()).some((entry) => !entry.refused || entry.again)) { changed(); return; }
    await flush();
    changed();
  };
  addEventListener("online", go);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) go(); });
  setInterval(go, RETRY_MS);
  go();
  return go;
}
