// Keeps the app's files and the pages that were seen, so that they open without connection. Entries are not its business:
// the page's own queue keeps and sends them (queue.js), which also works where a browser allows no worker.
const STORE = "aerobe-@version";
const FILES = ["@files"];
const WAIT_MS = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const store = await caches.open(STORE);
    await store.addAll([...FILES, "/offline"]);
    // The first screen and the record page are worth having even if nobody opened them yet.
    await Promise.all(["/", "/record", "/menu"].map((page) => store.add(new Request(page, { redirect: "follow" })).catch(() => null)));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("aerobe-") && name !== STORE) await caches.delete(name);
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin || url.pathname === "/live") return;
  if (url.pathname.startsWith("/static/")) event.respondWith(kept(request));
  else if (request.mode === "navigate") event.respondWith(fresh(request));
});

async function kept(request) {
  const store = await caches.open(STORE);
  const found = await store.match(request);
  if (found) return found;
  const answer = await fetch(request);
  if (answer.ok) store.put(request, answer.clone());
  return answer;
}

// The newest page if the server answers in time; the one seen last if not.
async function fresh(request) {
  const store = await caches.open(STORE);
  // "?done=..." only carries a notice: the page without it is the page.
  const plain = new URL(request.url);
  for (const name of ["done", "replicate"]) plain.searchParams.delete(name);
  try {
    const answer = await withinTime(fetch(request));
    // Shut out: what this device kept of the notebook goes too. Entries that wait to be sent are the person's own and stay.
    if (answer.headers.get("x-aerobe-shut-out")) await caches.delete(STORE);
    else if (answer.ok && answer.headers.get("content-type")?.includes("text/html")) {
      const copy = answer.redirected ? new Response(await answer.clone().blob(), { headers: answer.headers }) : answer.clone();
      store.put(plain.href, copy);
    }
    return answer;
  } catch {
    return (await store.match(plain.href)) ?? (await store.match("/offline"));
  }
}

function withinTime(promise) {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error("slow")), WAIT_MS);
    promise.then((answer) => { clearTimeout(timer); resolve(answer); }, (fault) => { clearTimeout(timer); reject(fault); });
  });
}
