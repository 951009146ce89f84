// Notices on this device: asked for by a button, only where the browser can and the connection is trusted.
const card = document.getElementById("notices-here");
const words = card?.querySelector("[data-state]");
const start = card?.querySelector("[data-start]");
const stop = card?.querySelector("[data-stop]");
const trial = card?.querySelector("[data-trial]");

const able = () => window.isSecureContext && "serviceWorker" in navigator && "PushManager" in window && "Notification" in window;

async function post(address, content) {
  const answer = await fetch(address, {
    method: "POST", body: JSON.stringify(content),
    headers: { "Content-Type": "application/json", Accept: "application/json", "X-Aerobe-Form": document.querySelector("meta[name=aerobe-form]").content },
  });
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error([told.problem, told.remedy].filter(Boolean).join(" ") || `Refused (${answer.status}).`);
  return told;
}

const plain = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (sign) => sign.charCodeAt(0));

async function here() {
  return (await navigator.serviceWorker.ready).pushManager;
}

async function show(told = "") {
  const found = await (await here()).getSubscription().catch(() => null);
  words.textContent = told || (found ? "This device is told." : "This device is not told.");
  start.hidden = Boolean(found);
  stop.hidden = trial.hidden = !found;
}

function tried(act) {
  return async (event) => {
    event.currentTarget.disabled = true;
    const button = event.currentTarget;
    try { await show(await act()); } catch (fault) { await show(fault.message).catch(() => { words.textContent = fault.message; }); }
    button.disabled = false;
  };
}

if (card) {
  if (!able()) {
    words.textContent = window.isSecureContext ? "This browser has no notices." : "Notices need the https address of the app: see the page that pairs a phone.";
  } else {
    start.addEventListener("click", tried(async () => {
      if (await Notification.requestPermission() !== "granted") throw new Error("Not allowed by the browser. Its settings for this page can change that.");
      const manager = await here();
      const found = await manager.subscribe({ userVisibleOnly: true, applicationServerKey: plain(card.dataset.key) });
      await post("/notices", found.toJSON()).catch(async (fault) => { await found.unsubscribe(); throw fault; });
    }));
    stop.addEventListener("click", tried(async () => {
      const found = await (await here()).getSubscription();
      if (!found) return;
      await post("/notices/end", { endpoint: found.endpoint });
      await found.unsubscribe();
    }));
    trial.addEventListener("click", tried(async () => (await post("/notices/trial", {})).says));
    show().catch(() => {});
  }
}
