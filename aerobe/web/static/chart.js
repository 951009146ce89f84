// Reading a chart: the values under finger, pointer or arrow keys, beside a line at that moment. The drawing itself needs no script.
const told = new WeakMap();

function chartOf(target) {
  const canvas = target instanceof Element ? target.closest("figure.chart .canvas") : null;
  const data = canvas?.closest("figure").querySelector(":scope > script[type='application/json']");
  if (!data) return null;
  if (!told.has(canvas)) told.set(canvas, { canvas, ...JSON.parse(data.textContent) });
  return told.get(canvas);
}

const places = { style: { maximumSignificantDigits: 3 } };
const number = (value) => (value === null ? "?" : value.toLocaleString(document.documentElement.lang, places.style));

// The moment in words: clock and hours where the clock is known, else the value of the axis.
function where(chart, x) {
  if (!chart.begin) return `${number(x)} ${chart.what.replace(/,? ?\(?log scale\)?/, "")}`.trim();
  const moment = new Date(Date.parse(chart.begin) + x * 3600000);
  // The clock of the brew, not that of this device.
  const offset = /([+-])(\d\d):(\d\d)$/.exec(chart.begin);
  const shift = offset ? (offset[1] === "-" ? -1 : 1) * (60 * Number(offset[2]) + Number(offset[3])) : 0;
  const local = new Date(moment.getTime() + shift * 60000);
  const day = local.toLocaleDateString(document.documentElement.lang, { weekday: "short", timeZone: "UTC" });
  return `${day} ${String(local.getUTCHours()).padStart(2, "0")}:${String(local.getUTCMinutes()).padStart(2, "0")}, ${x.toFixed(1)} h`;
}

function nearest(places, part) {
  let best = 0;
  for (let place = 1; place < places.length; place += 1) if (Math.abs(places[place] - part) < Math.abs(places[best] - part)) best = place;
  return best;
}

// Where the courses have values, in order: the places that the keys step through.
function placesOf(chart) {
  chart.places ??= [...new Set(chart.follows.flatMap((course) => course.at))].sort((a, b) => a - b);
  return chart.places;
}

function show(chart, part) {
  const found = [];
  for (const course of chart.follows) {
    if (!course.at.length || part < course.at[0] - 0.02 || part > course.at.at(-1) + 0.02) continue;
    found.push({ course, place: nearest(course.at, part) });
  }
  if (!found.length) { hide(chart); return ""; }
  // The moment is that of the value nearest by; a course that was read at another says when.
  const first = found.reduce((best, one) => (Math.abs(one.course.at[one.place] - part) < Math.abs(best.course.at[best.place] - part) ? one : best));
  const at = first.course.at[first.place];
  const lines = found.map(({ course, place }) => {
    const band = course.low.length ? ` (${number(course.low[place])} to ${number(course.high[place])})` : "";
    const when = Math.abs(course.at[place] - at) > 0.012 ? `, at ${course.x[place].toFixed(1)} h` : "";
    return `${course.name}: ${number(course.middle[place])}${band} ${course.unit}${when}`;
  });
  chart.part = part;
  chart.line ??= chart.canvas.appendChild(Object.assign(document.createElement("div"), { className: "at" }));
  chart.words ??= chart.canvas.appendChild(Object.assign(document.createElement("p"), { className: "at-words" }));
  chart.line.hidden = chart.words.hidden = false;
  const told = [where(chart, first.course.x[first.place]), ...lines];
  chart.words.textContent = told.join("\n");
  const area = chart.canvas.querySelector(".area").getBoundingClientRect();
  const box = chart.canvas.getBoundingClientRect();
  const left = area.left - box.left + part * area.width;
  Object.assign(chart.line.style, { left: `${left}px`, top: `${area.top - box.top}px`, height: `${area.height}px` });
  const wide = chart.words.offsetWidth;
  chart.words.style.left = `${Math.max(0, Math.min(box.width - wide, left - wide / 2))}px`;
  chart.words.style.top = `${Math.max(0, area.top - box.top - chart.words.offsetHeight - 4)}px`;
  return told.join("; ");
}

function hide(chart) {
  if (chart.line) chart.line.hidden = chart.words.hidden = true;
}

function follow(event) {
  const chart = chartOf(event.target);
  if (!chart) return;
  const area = chart.canvas.querySelector(".area").getBoundingClientRect();
  show(chart, Math.max(0, Math.min(1, (event.clientX - area.left) / area.width)));
}

document.addEventListener("pointerdown", follow);
document.addEventListener("pointermove", follow);
document.addEventListener("pointerout", (event) => {
  const chart = event.pointerType === "mouse" ? chartOf(event.target) : null;
  if (chart && !chart.canvas.contains(event.relatedTarget)) hide(chart);
});

// ---- by keyboard: arrows go from value to value, and a listener is told each ---------------------------------------------
const STEPS = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10, Home: -Infinity, End: Infinity };

function ready() {
  for (const canvas of document.querySelectorAll("figure.chart:has(> script[type='application/json']) > .canvas:not([tabindex])")) {
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "slider");
    for (const [name, value] of Object.entries({ valuemin: 0, valuemax: 100, valuenow: 100, valuetext: "arrow keys read out the values" })) {
      canvas.setAttribute(`aria-${name}`, value);
    }
  }
}
ready();
document.addEventListener("htmx:after:swap", ready);

document.addEventListener("keydown", (event) => {
  const chart = event.target.matches?.(".canvas[role=slider]") && !event.altKey && !event.ctrlKey && !event.metaKey ? chartOf(event.target) : null;
  if (!chart) return;
  if (event.key === "Escape") { hide(chart); return; }
  const step = STEPS[event.key];
  if (step === undefined) return;
  event.preventDefault();
  const places = placesOf(chart);
  // The first step lands on the newest value, as a pointer coming from the right would.
  const next = chart.part === undefined ? (step < -1e9 ? 0 : places.length - 1) : nearest(places, chart.part) + step;
  const part = places[Math.max(0, Math.min(places.length - 1, next))];
  const said = show(chart, part);
  chart.canvas.setAttribute("aria-valuenow", Math.round(100 * part));
  chart.canvas.setAttribute("aria-valuetext", said);
});
document.addEventListener("focusout", (event) => {
  const chart = event.target.matches?.(".canvas[role=slider]") ? chartOf(event.target) : null;
  if (chart) hide(chart);
});
