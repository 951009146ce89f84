// The page's own behaviour: look, charts, live changes, clocks. Every page also works without it.
const engine = document.querySelector("script[data-engine]").dataset.engine;
const root = document.documentElement;

// ---- light or dark -------------------------------------------------------------------------------------------------
const darkMedia = matchMedia("(prefers-color-scheme: dark)");
const lookNow = () => (root.dataset.look === "auto" ? (darkMedia.matches ? "dark" : "light") : root.dataset.look);
document.getElementById("look")?.addEventListener("click", () => {
  root.dataset.look = lookNow() === "dark" ? "light" : "dark";
  document.cookie = `aerobe_look=${root.dataset.look}; Max-Age=31536000; Path=/; SameSite=Lax`;
  drawCharts(document, true);
});
darkMedia.addEventListener("change", () => drawCharts(document, true));

// ---- charts --------------------------------------------------------------------------------------------------------
let engineReady;
function loadEngine() {
  engineReady ??= new Promise((ready, failed) => {
    const script = document.createElement("script");
    script.src = engine;
    script.onload = () => ready(window.aerobeCharts);
    script.onerror = failed;
    document.head.append(script);
  });
  return engineReady;
}

function coloured(node, shade) {
  if (Array.isArray(node)) return node.map((item) => coloured(item, shade));
  if (node && typeof node === "object") return Object.fromEntries(Object.entries(node).map(([key, item]) => [key, coloured(item, shade)]));
  if (typeof node === "string" && node.startsWith("@")) return shade[node.slice(1)] ?? node;
  return node;
}

async function drawChart(figure) {
  const canvas = figure.querySelector(".canvas");
  const told = JSON.parse(figure.querySelector("script").textContent);
  const look = told.looks[lookNow()];
  const charts = await loadEngine();
  const spec = { ...coloured(told.spec, look.colours), config: { ...look.config, background: "transparent" } };
  figure.view?.finalize();
  const width = canvas.clientWidth;
  if (!width) return;
  spec.width = width;
  spec.autosize = { type: "fit-x", contains: "padding" };
  const compiled = charts.compile(spec).spec;
  const view = new charts.View(charts.parse(compiled, undefined, { ast: true }), {
    renderer: "svg", container: canvas, hover: true, expr: charts.expressionInterpreter, logLevel: charts.Warn,
  });
  figure.view = view;
  figure.drawnAt = width;
  await view.runAsync();
  // The sentence on the canvas says it all; the many axis numbers would only be noise to a listener.
  canvas.querySelector("svg")?.setAttribute("aria-hidden", "true");
}

function drawCharts(within, again = false) {
  for (const figure of within.querySelectorAll("figure.chart")) {
    if (again || !figure.view) drawChart(figure).catch((fault) => console.error("chart", fault));
  }
}
const whenIdle = window.requestIdleCallback ?? ((work) => setTimeout(work, 60));
if (document.querySelector("figure.chart")) whenIdle(() => drawCharts(document));
let resizing;
addEventListener("resize", () => {
  clearTimeout(resizing);
  resizing = setTimeout(() => {
    for (const figure of document.querySelectorAll("figure.chart")) {
      if (figure.view && figure.querySelector(".canvas").clientWidth !== figure.drawnAt) drawChart(figure);
    }
  }, 200);
});
document.addEventListener("htmx:after:swap", () => { drawCharts(document); tick(); });
document.addEventListener("toggle", (event) => { if (event.target.open) drawCharts(event.target); }, true);

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
document.querySelector("[data-focus]")?.focus();
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || form.matches("[data-queue]") || event.defaultPrevented) return;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  setTimeout(() => { delete form.dataset.sent; }, 8000);
});
addEventListener("pageshow", () => { for (const form of document.forms) delete form.dataset.sent; });
document.addEventListener("htmx:config:request", (event) => {
  const headers = event.detail?.ctx?.request?.headers;
  if (headers) headers["X-Aerobe-Form"] = document.querySelector("meta[name=aerobe-form]").content;
});
