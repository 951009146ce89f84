// A practice brew in fast time. The clock runs here; the server is told after and answers with what probe and tests show.
const place = document.getElementById("practice");
const data = JSON.parse(document.getElementById("practice-data").textContent);
const picture = document.getElementById("picture");
const WIDE = 360, LEFT = 40, RIGHT = 10, AREA = 190, LOW = 64, TOP = 30;
const across = (h) => LEFT + (h / data.end_h) * (WIDE - LEFT - RIGHT);
const round = (value) => Math.round(value * 10) / 10;

// ---- the picture: tests, and behind the curtain the truth -----------------------------------------------------------
function draw() {
  const truth = data.truth;
  const tests = data.moves.filter((move) => move.kind === "test" || move.kind === "control");
  const most = Math.max(50, ...tests.map((move) => move.value * 1.15), ...(truth ? truth.biomass : []));
  const step = [20, 50, 100, 200, 500, 1000, 2000].find((size) => most / size <= 4) ?? 5000;
  const top = Math.ceil((most * 1.05) / step) * step;
  const up = (value) => TOP + AREA - (value / top) * AREA;
  const hasOxygen = truth || data.probe;
  const foot = TOP + AREA + 18, low = foot + 22;
  const high = hasOxygen ? low + LOW + 22 : foot + 20;
  const breathe = (mg) => low + LOW - (Math.min(mg, 10) / 10) * LOW;
  const line = (xs, ys, to, kind) => xs.length ? `<path class="${kind}" d="M${xs.map((x, i) => `${round(across(x))} ${round(to(ys[i]))}`).join("L")}"/>` : "";
  const upright = (h, kind) => `<line class="${kind}" x1="${round(across(h))}" x2="${round(across(h))}" y1="${TOP}" y2="${TOP + AREA}"/>`;
  let out = `<text class="word" x="${LEFT}" y="18">PRACTICE</text><text class="faint" x="${WIDE - RIGHT}" y="18" text-anchor="end">ug C/mL over hours</text>`;
  if (truth && truth.off_h !== null) out += `<rect class="off" x="${round(across(truth.off_h))}" y="${TOP}" width="${round(across(truth.on_h) - across(truth.off_h))}" height="${AREA}"/>`;
  for (let value = 0; value <= top; value += step) out += `<line class="rule" x1="${LEFT}" x2="${WIDE - RIGHT}" y1="${round(up(value))}" y2="${round(up(value))}"/><text x="${LEFT - 5}" y="${round(up(value)) + 4}" text-anchor="end">${value}</text>`;
  for (let h = 0; h <= data.end_h; h += 12) out += `<text x="${round(across(h))}" y="${foot}" text-anchor="middle">${h}</text>`;
  if (truth) {
    out += line(truth.h, truth.biomass, up, "true") + upright(truth.clock_h, "clock");
    const isEarly = data.harvested_h <= truth.clock_h;
    const beside = (h, words, y, before) => `<text x="${round(across(h)) + (before ? -4 : 4)}" y="${y}"${before ? ' text-anchor="end"' : ""}>${words}</text>`;
    out += beside(truth.clock_h, "clock", TOP + 12, !isEarly) + beside(data.harvested_h, "you", TOP + 12, isEarly);
  }
  if (data.harvested_h !== null) out += upright(data.harvested_h, "mine");
  else out += upright(data.now_h, "now");
  for (const move of tests) {
    const x = round(across(move.at_h)), y = round(up(move.value));
    if (move.kind === "control") out += `<rect class="control" x="${x - 4}" y="${y - 4}" width="8" height="8"/>`;
    else out += `<line class="error" x1="${x}" x2="${x}" y1="${round(up(move.value * 1.2))}" y2="${round(up(move.value * 0.82))}"/><circle class="test" cx="${x}" cy="${y}" r="5"/>`;
  }
  if (hasOxygen) {
    out += `<text class="faint" x="${LEFT}" y="${low - 4}">oxygen, mg/L${data.log.degc.length && !truth ? `; water ${data.log.degc.at(-1)} degC` : ""}</text>`;
    for (const mg of [0, 5, 10]) out += `<line class="rule" x1="${LEFT}" x2="${WIDE - RIGHT}" y1="${breathe(mg)}" y2="${breathe(mg)}"/><text x="${LEFT - 5}" y="${breathe(mg) + 4}" text-anchor="end">${mg}</text>`;
    out += truth ? line(truth.h, truth.oxygen, breathe, "oxygen") : line(data.log.h, data.log.oxygen, breathe, "oxygen");
  }
  picture.innerHTML = `<svg viewBox="0 0 ${WIDE} ${high}" aria-hidden="true">${out}</svg>`;
}

// ---- words ----------------------------------------------------------------------------------------------------------
const words = {
  test: (value) => `test, ${Math.round(value)} ug C/mL`,
  control: (value) => `killed control, ${Math.round(value)} ug C/mL of colour`,
  pump: (value) => (value ? "the pump stood still; it runs again" : "the pump runs"),
  harvest: () => "harvest",
};
const wordsOf = (move) => `Hour ${move.at_h}: ${words[move.kind](move.value)}`;

function show() {
  document.getElementById("hour").textContent = `Hour ${data.now_h}`;
  document.getElementById("left").textContent = data.tests_left;
  document.getElementById("spent").textContent = data.spent;
  place.querySelector("[name=until_h]").value = data.now_h + 1;
  draw();
}

function say(text) { document.getElementById("said").textContent = text; }

function list() {
  document.getElementById("moves").replaceChildren(...data.moves.map((move) => Object.assign(document.createElement("li"), { textContent: wordsOf(move) })));
}

// ---- the clock and what is done; messages to the server go one after another ------------------------------------------
let chain = Promise.resolve();
let timer = 0;
const run = document.getElementById("run");

function send(path, body) {
  chain = chain.then(async () => {
    const answer = await fetch(`/practise/${data.key}/${path}`, {
      method: "POST",
      headers: { accept: "application/json", "x-aerobe-form": document.querySelector("meta[name=aerobe-form]").content },
      body: new URLSearchParams(body),
    });
    const told = await answer.json();
    if (!answer.ok) throw new Error(`${told.problem} ${told.remedy}`);
    return told;
  });
  const mine = chain;
  chain = chain.catch(() => null);
  return mine;
}

function take(told) {
  // The clock here may have gone on while the answer was under way.
  Object.assign(data, told, { now_h: Math.max(data.now_h, told.now_h) });
  if (data.harvested_h !== null) { pause(); location.reload(); return; }
  show();
}

function failed(fault) { pause(); say(fault instanceof TypeError ? "No connection to the machine that runs Aerobe: the brew stands still." : fault.message); }

function step() {
  data.now_h = Math.min(data.now_h + 1, data.end_h);
  show();
  send("wait", { until_h: data.now_h }).then(take, failed);
  if (data.now_h >= data.end_h) pause();
}

function pause() { clearInterval(timer); timer = 0; if (run) { run.textContent = "Run"; run.setAttribute("aria-pressed", "false"); } }

function go() {
  if (timer) { pause(); return; }
  run.textContent = "Pause";
  run.setAttribute("aria-pressed", "true");
  timer = setInterval(step, 1000);
}

for (const form of place.querySelectorAll("form[data-practise]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const kind = form.dataset.practise;
    if (kind === "wait") { step(); return; }
    say("One moment.");
    send(kind, { at_h: data.now_h }).then((told) => {
      take(told);
      list();
      if (told.moves.length) say(wordsOf(told.moves.at(-1)));
    }, failed);
  });
}
if (run) { run.hidden = false; run.addEventListener("click", go); }

// ---- behind the curtain: the others come when they are ready ----------------------------------------------------------
async function ask() {
  const box = document.getElementById("others");
  if (!box || !("wait" in box.dataset)) return;
  const answer = await fetch(`/parts/practise/${data.key}`).catch(() => null);
  if (answer?.ok) {
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("others");
    if (fresh && !("wait" in fresh.dataset)) { box.replaceWith(fresh); return; }
  }
  setTimeout(ask, 1500);
}

draw();
ask();
