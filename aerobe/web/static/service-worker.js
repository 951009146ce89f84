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
    await Promise.all(["/", "/record", "/menu"].map((page) => keepPage(page).catch(() => null)));
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
  // A download takes its time and is no page to keep.
  else if (request.mode === "navigate" && !/^\/(reports\/.+\.(html|pdf|zip)|data\/export|.*\.(ics|csv|zip|pdf|css))$/.test(url.pathname)) {
    event.respondWith(fresh(request));
  }
});

// Pages that a person will want without connection: those where readings of running brews are recorded.
self.addEventListener("message", (event) => {
  for (const page of event.data?.keep ?? []) event.waitUntil(keepPage(page).catch(() => null));
});

async function kept(request) {
  const store = await caches.open(STORE);
  const found = await store.match(request);
  if (found) return found;
  const answer = await fetch(request);
  if (answer.ok) store.put(request, answer.clone());
  return answer;
}

async function keepPage(address) {
  const answer = await fetch(address, { redirect: "follow", credentials: "same-origin" });
  await keepAnswer(new URL(address, self.location.origin).href, answer);
}

// A redirected answer may not be shown for another address, so what is kept is a plain copy, with the time of its keeping.
async function keepAnswer(address, answer) {
  if (!answer.ok || !answer.headers.get("content-type")?.includes("text/html")) return;
  const headers = new Headers(answer.headers);
  headers.set("x-aerobe-kept-at", String(Date.now()));
  const store = await caches.open(STORE);
  await store.put(address, new Response(await answer.blob(), { headers }));
}

// The newest page if the server answers in time; then the one seen last, which says how old it is; then patience.
async function fresh(request) {
  const store = await caches.open(STORE);
  // "?done=..." only carries a notice: the page without it is the page.
  const plain = new URL(request.url);
  for (const name of ["done", "replicate", "undo"]) plain.searchParams.delete(name);
  const asked = fetch(request);
  try {
    return await taken(await withinTime(asked), plain.href);
  } catch (fault) {
    const found = await store.match(plain.href);
    if (found) return withItsAge(found, fault.message === "slow");
    // Slow is not away: without a copy there is nothing better to show than what is on its way.
    if (fault.message === "slow") {
      try { return await taken(await asked, plain.href); } catch { /* it was away after all */ }
    }
    return (await store.match("/offline")) ?? Response.error();
  }
}

async function taken(answer, address) {
  // Shut out: what this device kept of the notebook goes too. Entries that wait to be sent are the person's own and stay.
  if (answer.headers.get("x-aerobe-shut-out")) await caches.delete(STORE);
  else await keepAnswer(address, answer.clone()).catch(() => null);
  return answer;
}

async function withItsAge(found, slow) {
  const at = Number(found.headers.get("x-aerobe-kept-at") ?? 0);
  const clock = at ? new Date(at).toLocaleString([], { dateStyle: "short", timeStyle: "short" }) : "an earlier time";
  const why = slow ? "The machine that runs Aerobe is slow to answer" : "No connection";
  const words = `<div class="caution" role="status" data-kept-copy><p><strong>Kept copy of ${clock}.</strong> ${why}; asking again.</p></div>`;
  const text = (await found.text()).replace(/<main\b[^>]*>/, (main) => `${main}${words}`);
  return new Response(text, { headers: found.headers });
}

function withinTime(promise) {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error("slow")), WAIT_MS);
    promise.then((answer) => { clearTimeout(timer); resolve(answer); }, (fault) => { clearTimeout(timer); reject(fault); });
  });
}

// ---- notices: an alarm that comes while no page is open ------------------------------------------------------------------
self.addEventListener("push", (event) => {
  let told = {};
  try { told = event.data?.json() ?? {}; } catch { /* no notice of ours: the pages say what stands */ }
  event.waitUntil(self.registration.showNotification(told.title ?? "Aerobe", {
    body: told.body ?? "Something wants to be looked at.", tag: told.tag ?? "aerobe", data: { url: told.url ?? "/" }, icon: "/static/mark-192.png",
  }));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const url = new URL(event.notification.data?.url ?? "/", self.location.origin);
  const address = url.origin === self.location.origin ? url.href : self.location.origin;
  event.waitUntil((async () => {
    const open = await self.clients.matchAll({ type: "window" });
    const there = open.find((client) => client.url === address);
    await (there ? there.focus() : self.clients.openWindow(address));
  })());
});
