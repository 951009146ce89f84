// The page's own behaviour: look, live changes, clocks. Every page also works without it.
const root = document.documentElement;

// ---- light or dark -------------------------------------------------------------------------------------------------
const darkMedia = matchMedia("(prefers-color-scheme: dark)");
const lookNow = () => (root.dataset.look === "auto" ? (darkMedia.matches ? "dark" : "light") : root.dataset.look);
document.getElementById("look")?.addEventListener("click", () => {
  root.dataset.look = lookNow() === "dark" ? "light" : "dark";
  document.cookie = `aerobe_look=${root.dataset.look}; Max-Age=31536000; Path=/; SameSite=Lax`;
});

const whenIdle = window.requestIdleCallback ?? ((work) => setTimeout(work, 60));
document.addEventListener("htmx:after:swap", () => tick());

// ---- clocks: <time data-since="2026-05-01T08:00:00+02:00"> shows the time gone by ----------------------------------
function tick() {
  for (const place of document.querySelectorAll("[data-since]")) {
    const minutes = Math.floor((Date.now() - Date.parse(place.dataset.since)) / 60000);
    const shown = Math.abs(minutes);
    const words = shown < 60 ? `${shown} min` : `${Math.floor(shown / 60)} h ${String(shown % 60).padStart(2, "0")} min`;
    place.textContent = minutes < 0 ? `in ${words}` : words;
  }
}
tick();
setInterval(tick, 15000);

// ---- forms: one tap, one entry; focus goes to the fault ------------------------------------------------------------
// The first answer that needs another look, wherever it is folded away; else the fault of the whole.
for (const wrong of document.querySelectorAll("[aria-invalid=true]")) {
  for (let fold = wrong.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
}
(document.querySelector("[aria-invalid=true]") ?? document.querySelector("[data-focus]"))?.focus();
document.addEventListener("submit", (event) => {
  const form = event.target;
  // A field may be called "method" and would hide the form's own.
  if (form.getAttribute("method") !== "post" || form.matches("[data-queue]") || event.defaultPrevented) return;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  if (form.dataset.reached) {
    delete form.dataset.reached;
    setTimeout(() => { delete form.dataset.sent; }, 8000);
    startWorking(!DOWNLOAD.test(form.getAttribute("action") ?? ""));
    return;
  }
  event.preventDefault();
  sendIfReached(form, event.submitter);
});

// A form that is sent into nothing would be lost with the page that shows it: ask first, and keep what was typed.
async function sendIfReached(form, submitter) {
  // Slow is not away: it is said, and waited for, as long as the line does not break.
  const began = Date.now();
  const slow = setInterval(() => {
    notice(`The machine that runs Aerobe is slow to answer: waiting since ${Math.round((Date.now() - began) / 1000)} s. What you typed stays here.`);
  }, 4000);
  const there = await fetch("/app.webmanifest", { cache: "no-store", signal: AbortSignal.timeout(60000) }).then(() => true, () => false);
  clearInterval(slow);
  delete form.dataset.sent;
  if (!there) {
    notice("No connection to the machine that runs Aerobe: nothing was sent.", "fault",
      "What you typed stays here. Keep this page open, and send it again when the connection is back.");
    return;
  }
  form.dataset.reached = "yes";
  form.requestSubmit(submitter);
}
// ---- long work: what was asked for is on its way, since when, and that nothing is lost by waiting -------------------------
const SHOWN_AFTER_MS = 700;
const ASKED_EVERY_MS = 2000;
const DOWNLOAD = /\.(pdf|zip|ics|csv|html|svg|png|crt)$|^\/data\/export/;
let working = null;
// A download leaves its page where it is, so only the machine knows when it is done: `leaves` is whether the page goes.
function startWorking(leaves = true) {
  stopWorking();
  const began = Date.now();
  let before = leaves ? 0 : null; // of a download nothing is said before the machine says that it works on it
  let asked = 0;
  const mine = working = setInterval(() => {
    const waited = Date.now() - began;
    if (waited < SHOWN_AFTER_MS) return;
    if (!asked || Date.now() - asked >= ASKED_EVERY_MS) {
      asked = Date.now();
      placeInQueue().then((place) => {
        if (place !== null) before = place;
        else if (leaves) before = 0;
        else if (mine === working) stopWorking();
      });
    }
    if (before === null) return;
    let bar = document.getElementById("working");
    if (!bar) {
      bar = Object.assign(document.createElement("p"), { id: "working" });
      const moving = Object.assign(document.createElement("progress"), { ariaLabel: "Working" });
      bar.append(document.createElement("span"), moving);
      bar.firstChild.setAttribute("role", "status");
      document.body.append(bar);
    }
    const seconds = Math.floor(waited / 1000);
    const queue = before ? ` ${before} before you.` : "";
    // A listener is told at the start and every ten seconds, not each second.
    const words = (seconds < 10 ? "Working …" : `Working since ${10 * Math.floor(seconds / 10)} s. Nothing is lost.`) + queue;
    if (bar.firstChild.textContent !== words) bar.firstChild.textContent = words;
  }, 100);
}
// How many are worked on before what was asked for here; null if nothing of it is under way any more, or nobody knows.
async function placeInQueue() {
  try {
    const answer = await fetch("/parts/turn", { cache: "no-store", signal: AbortSignal.timeout(ASKED_EVERY_MS) });
    return answer.ok ? (await answer.json()).before : null;
  } catch { return null; }
}
function stopWorking() {
  clearInterval(working);
  working = null;
  document.getElementById("working")?.remove();
}
const isDownload = (link) => link.hasAttribute("download") || link.target || DOWNLOAD.test(link.pathname);
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href]");
  if (!link || event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey) return;
  if (link.origin === location.origin && !(link.hash && link.pathname === location.pathname)) startWorking(!isDownload(link));
});
addEventListener("pagehide", stopWorking);
addEventListener("pageshow", stopWorking);

addEventListener("pageshow", () => { for (const form of document.forms) { delete form.dataset.sent; delete form.dataset.reached; } });
document.addEventListener("htmx:config:request", (event) => {
  const headers = event.detail?.ctx?.request?.headers;
  if (headers) headers["X-Aerobe-Form"] = document.querySelector("meta[name=aerobe-form]").content;
});

// ---- the queue: an entry is kept on this device first, then sent ---------------------------------------------------
import * as queue from "./queue.js";
import { listenForChanges } from "./live.js";

const line = document.getElementById("line");
function say(words) { if (line.textContent !== words) line.textContent = words; }

function notice(words, kind = "done", remedy = "") {
  const place = document.getElementById("notices");
  const box = document.createElement(kind === "fault" ? "div" : "p");
  box.className = kind;
  if (kind === "fault") {
    box.setAttribute("role", "alert");
    const strong = document.createElement("strong");
    strong.textContent = words;
    const first = document.createElement("p");
    first.append(strong);
    const second = document.createElement("p");
    second.textContent = remedy;
    box.append(first, second);
  } else box.textContent = words;
  place.replaceChildren(box);
  place.scrollIntoView({ block: "center" });
}

async function showWaiting() {
  const entries = await queue.all().catch(() => []);
  const waiting = entries.filter((entry) => !entry.refused).length;
  const refused = entries.length - waiting;
  say([waiting && `${waiting} waiting`, refused && `${refused} to look at`].filter(Boolean).join(", "));
  const section = document.getElementById("waiting");
  if (!section) return;
  section.hidden = !entries.length;
  section.querySelector("ul").replaceChildren(...entries.map(entryItem));
}

function entryItem(entry) {
  const item = document.createElement("li");
  item.className = entry.refused ? "entry refused" : "entry";
  const what = document.createElement("p");
  what.textContent = `${entry.says}, typed ${new Date(entry.at).toLocaleString([], { dateStyle: "short", timeStyle: "short" })}`;
  item.append(what);
  if (entry.refused) {
    const why = document.createElement("p");
    why.textContent = `${entry.refused.problem} ${entry.refused.remedy}`;
    item.append(why);
  }
  const row = document.createElement("p");
  row.className = "row";
  const again = document.createElement("button");
  again.type = "button";
  again.textContent = "Send now";
  again.addEventListener("click", async () => { await queue.sendAgain(entry.order); await queue.flush(); showWaiting(); });
  const away = document.createElement("button");
  away.type = "button";
  away.className = "danger";
  away.textContent = "Throw away";
  away.addEventListener("click", async () => {
    if (confirm("Throw this entry away for good?")) { await queue.remove(entry.order); showWaiting(); }
  });
  row.append(again, away);
  item.append(row);
  return item;
}

function freshToken(form) {
  const field = form.elements.namedItem("entry");
  if (field) field.value = queue.newToken();
}

// What a form holds, without the names of entries: to tell a second tap from a second entry, and typing from waiting.
function content(form) {
  return JSON.stringify([...new FormData(form)].filter(([name]) => !["entry", "form_token"].includes(name))
    .map(([name, value]) => [name, value instanceof File ? `${value.name} ${value.size}` : value]));
}
const DOUBLE_TAP_MS = 1500;

for (const form of document.querySelectorAll("form[data-queue]")) {
  freshToken(form);
  let last = { content: "", at: 0 };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const now = { content: content(form), at: Date.now() };
    if (now.content === last.content && now.at - last.at < DOUBLE_TAP_MS) return;
    last = now;
    const submitter = event.submitter;
    const typed = queue.read(form, submitter);
    freshToken(form);
    let kept;
    try {
      kept = await queue.keep(typed);
    } catch (fault) {
      console.error("queue", fault);
      await withoutStore(form, typed, now.content);
      return;
    }
    queue.askToStay();
    // It is safe now: the form is free for the next one, unless that is being typed already.
    const values = [...form.elements].map((field) => [field, field.type === "checkbox" || field.type === "radio" ? field.checked : field.value]);
    if (content(form) === now.content) { form.reset(); freshToken(form); }
    const emptied = content(form);
    let results = await queue.flush();
    // A sending that was already under way may not have seen this entry.
    if (!results.has(kept.entry.order)) results = await queue.flush();
    const result = results.get(kept.entry.order) ?? { state: "waiting" };
    if (!kept.photoKept) result.says = `${result.says ?? ""} Its photo could not be kept: this device has no room left.`.trim();
    await arrived(form, submitter, kept.entry, result, content(form) === emptied, values);
  });
}
addEventListener("pageshow", () => { for (const form of document.querySelectorAll("form[data-queue]")) freshToken(form); });

// No room on this device, or a private window: straight to the server, and the form keeps everything until that has it.
async function withoutStore(form, typed, before) {
  let answer;
  try {
    answer = await queue.send(typed.entry);
  } catch {
    notice("Not kept: this device has no room for it, and the machine that runs Aerobe is not reached.", "fault",
      "What you typed stays here. Keep this page open, and press Keep again when the connection is back.");
    return;
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) {
    notice(told.problem ?? `Refused (${answer.status}).`, "fault", `${told.remedy ?? ""} What you typed stays here.`);
    return;
  }
  const photo = typed.photo ? " Its photo is not: this device has no room to hold it." : "";
  notice(`${told.says ?? "Kept."}${photo}`);
  if (content(form) === before) { form.reset(); freshToken(form); }
}

function putBack(values) {
  for (const [field, value] of values) {
    if (field.type === "file" || field.name === "entry" || field.name === "form_token") continue;
    if (typeof value === "boolean") field.checked = value; else if ("value" in field) field.value = value;
  }
}

async function arrived(form, submitter, entry, result, untouched, values) {
  if (result.state === "refused") {
    if (untouched) {
      // Mend it in the form; the copy in the queue is no longer needed.
      putBack(values);
      await queue.remove(entry.order);
    }
    notice(result.problem ?? "The entry was refused.", "fault",
      `${result.remedy ?? ""}${untouched ? "" : " It waits below, beside what you are typing now."}`);
    showWaiting();
    return;
  }
  await showWaiting();
  const signal = form.elements.namedItem("signal");
  if (result.state === "waiting") {
    notice(result.problem
      ? `Kept on this device, not in the notebook yet: ${result.problem} ${result.remedy ?? ""} It is sent again by itself.`
      : `Kept on this device. It is sent by itself when the connection returns. ${result.says ?? ""}`.trim());
    return;
  }
  if (!untouched) { notice(result.says ?? "Kept."); return; }
  if (submitter?.name === "again" && signal) {
    putBack(values);
    notice(result.says ?? "Kept.");
    const repeat = form.elements.namedItem("replicate");
    const number = repeat ? parseInt(repeat.value, 10) || 1 : 1;
    signal.value = "";
    if (repeat) repeat.value = number + 1;
    signal.focus();
    return;
  }
  const next = new URL(result.go_to ?? form.dataset.then ?? location.pathname.replace(/\/(record|harvest)$/, ""), location.origin);
  if (result.says) next.searchParams.set("done", result.says);
  if (result.undo) next.searchParams.set("undo", result.undo);
  location.assign(next);
}

const tryNow = queue.keepTrying(showWaiting);
listenForChanges(tryNow);

// ---- large keys for wet hands --------------------------------------------------------------------------------------
for (const pad of document.querySelectorAll("[data-pad]")) {
  const input = document.getElementById(pad.dataset.pad);
  const comma = (1.5).toLocaleString().includes(",") ? "," : ".";
  const add = (text, parent = pad, label = "", act = null) => {
    const key = document.createElement("button");
    key.type = "button";
    key.textContent = text;
    if (label) key.setAttribute("aria-label", label);
    key.addEventListener("click", act ?? (() => { input.value += text; }));
    parent.append(key);
  };
  for (const text of ["1", "2", "3", "4", "5", "6", "7", "8", "9"]) add(text);
  add(comma, pad, "decimal mark");
  add("0");
  add("⌫", pad, "delete the last", () => { input.value = input.value.slice(0, -1); });
  const ways = document.createElement("div");
  ways.className = "ways";
  pad.append(ways);
  add("<", ways, "below the limit", () => { input.value = `<${input.value.replace(/^[<>]/, "")}`; });
  add(">", ways, "above the range", () => { input.value = `>${input.value.replace(/^[<>]/, "")}`; });
  add("Clear", ways, "", () => { input.value = ""; });
  add("Keyboard", ways, "", () => { input.inputMode = "decimal"; input.blur(); input.focus(); });
  pad.hidden = false;
  if (matchMedia("(pointer: coarse)").matches) input.inputMode = "none";
  else input.focus();
}

// ---- several readings in one field: a number pad has no space, so a key sets one ------------------------------------
for (const key of document.querySelectorAll("[data-next-of]")) {
  const input = document.getElementById(key.dataset.nextOf);
  key.hidden = false;
  key.addEventListener("click", () => {
    input.value = `${input.value.trim()} `.trimStart();
    input.focus();
  });
}

// ---- a part of a form that is only for "another ..." ---------------------------------------------------------------
for (const select of document.querySelectorAll("select[data-shows]")) {
  const parts = select.dataset.shows.split(" ").map((name) => document.getElementById(name));
  const show = () => { for (const part of parts) part.hidden = select.value !== "(new)"; };
  select.addEventListener("change", show);
  show();
}

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}

// A way back that stands for some seconds; afterwards the thing's own page still has it.
for (const form of document.querySelectorAll("[data-fleeting]")) {
  setTimeout(() => { if (!form.contains(document.activeElement)) form.remove(); }, 1000 * Number(form.dataset.fleeting));
}

// A field that an answer makes idle: data-unless="name value".
for (const part of document.querySelectorAll("[data-unless]")) {
  const [name, value] = part.dataset.unless.split(" ");
  const form = part.closest("form");
  const show = () => { part.hidden = new FormData(form).get(name) === value; };
  form.addEventListener("change", show);
  show();
}

// ---- a page from this device's store asks again until the newest one is there -------------------------------------------
if (document.querySelector("[data-kept-copy]")) {
  const again = setInterval(async () => {
    const there = await fetch("/app.webmanifest", { cache: "no-store", signal: AbortSignal.timeout(8000) }).then((answer) => answer.ok, () => false);
    if (!there || document.querySelector("form:focus-within")) return;
    clearInterval(again);
    await queue.flush(); // what waits on this device goes first: a page that renews itself would cut its way short
    location.reload();
  }, 5000);
}

// ---- an app on the phone -------------------------------------------------------------------------------------------
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/service-worker.js").catch(() => {});
  // The pages where readings of running brews are recorded are kept before anybody needs them without connection.
  whenIdle(async () => {
    if (!navigator.serviceWorker.controller || Date.now() - Number(sessionStorage.getItem("aerobe-kept") ?? 0) < 600000) return;
    const pages = await fetch("/record/pages", { headers: { Accept: "application/json" } }).then((answer) => answer.json(), () => null);
    if (!Array.isArray(pages?.pages)) return;
    sessionStorage.setItem("aerobe-kept", String(Date.now()));
    navigator.serviceWorker.controller.postMessage({ keep: pages.pages });
  });
}

// ---- the zone of this device's clock, for tables whose times have none: offered, never taken unseen ----------------------
for (const field of document.querySelectorAll("[data-own-zone]")) {
  if (!field.value) field.value = Intl.DateTimeFormat().resolvedOptions().timeZone || "";
}
