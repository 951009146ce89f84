// Reading a chart: the values under finger or pointer, beside a line at that moment. The drawing itself needs no script.
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

function show(chart, part) {
  const area = chart.canvas.querySelector(".area").getBoundingClientRect();
  const box = chart.canvas.getBoundingClientRect();
  const lines = [];
  let moment = null;
  for (const course of chart.follows) {
    if (!course.at.length || part < course.at[0] - 0.02 || part > course.at.at(-1) + 0.02) continue;
    const place = nearest(course.at, part);
    moment ??= course.x[place];
    const band = course.low.length ? ` (${number(course.low[place])} to ${number(course.high[place])})` : "";
    lines.push(`${course.name}: ${number(course.middle[place])}${band} ${course.unit}`);
  }
  if (moment === null) { hide(chart); return; }
  chart.part = part;
  chart.line ??= chart.canvas.appendChild(Object.assign(document.createElement("div"), { className: "at" }));
  chart.words ??= chart.canvas.appendChild(Object.assign(document.createElement("p"), { className: "at-words" }));
  chart.line.hidden = chart.words.hidden = false;
  chart.words.textContent = [where(chart, moment), ...lines].join("\n");
  const left = area.left - box.left + part * area.width;
  Object.assign(chart.line.style, { left: `${left}px`, top: `${area.top - box.top}px`, height: `${area.height}px` });
  const wide = chart.words.offsetWidth;
  chart.words.style.left = `${Math.max(0, Math.min(box.width - wide, left - wide / 2))}px`;
  chart.words.style.top = `${Math.max(0, area.top - box.top - chart.words.offsetHeight - 4)}px`;
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
