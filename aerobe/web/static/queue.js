// Entries typed on this device wait here until the server has them: kept first, sent after, in order, each once.
// Each has a token made when its form was filled, and the server keeps an entry with a known token only once.

const NAME = "aerobe-entries";
const RETRY_MS = 8000;
let opened;

function base() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore("entries", { keyPath: "order", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  return opened;
}

async function within(mode, act) {
  const transaction = (await base()).transaction("entries", mode, { durability: "strict" });
  const store = transaction.objectStore("entries");
  const request = act(store);
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

export const all = () => within("readonly", (store) => store.getAll());
export const remove = (order) => within("readwrite", (store) => store.delete(order));
const put = (entry) => within("readwrite", (store) => store.put(entry));

export function newToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(15));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

export async function keep(form, submitter) {
  const fields = [];
  for (const [name, value] of new FormData(form, submitter)) {
    if (name === "form_token" || name === "age_s") continue;
    if (value instanceof File && !value.size) continue;
    fields.push([name, value]);
  }
  const said = fields.find(([name]) => name === "signal");
  const unit = fields.find(([name]) => name === "signal_unit");
  const says = `${form.dataset.says}${said ? `: ${said[1]} ${unit ? unit[1] : ""}` : ""}`;
  const entry = { address: form.getAttribute("action"), fields, says, at: Date.now(), refused: null };
  entry.order = await within("readwrite", (store) => store.add(entry));
  return entry;
}

async function send(entry) {
  const body = new FormData();
  for (const [name, value] of entry.fields) body.append(name, value);
  // The age and not the hour: a phone whose clock is wrong still gives the right time of the reading.
  body.append("age_s", Math.max(0, (Date.now() - entry.at) / 1000).toFixed(1));
  const headers = { Accept: "application/json", "X-Aerobe-Form": document.querySelector("meta[name=aerobe-form]").content };
  return fetch(entry.address, { method: "POST", body, headers, redirect: "manual", signal: AbortSignal.timeout(15000) });
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
// Sends what waits, oldest first; stops where the server is not reached, so that the order holds.
export function flush() {
  busy ??= locked(async () => {
    const results = new Map();
    for (const entry of await all()) {
      if (entry.refused && !entry.again) continue;
      const result = await deliver(entry);
      results.set(entry.order, result);
      if (result.state === "waiting") break;
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
