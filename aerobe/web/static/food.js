// The food page: the answer to a moved dose is there at once, read between the doses that the server has worked out. Everything
// else that is moved is asked of the server; until its answer comes the old one is marked as such.
const form = document.getElementById("oxygen-form");
const place = document.getElementById("oxygen-answer");

function between(known, values, dose) {
  if (dose <= known[0]) return values[0];
  for (let at = 1; at < known.length; at += 1) {
    if (dose > known[at]) continue;
    const part = (dose - known[at - 1]) / (known[at] - known[at - 1]);
    return values[at - 1] + part * (values[at] - values[at - 1]);
  }
  return values.at(-1);
}

const digits = (value, count) => (value === 0 ? "0" : Number(value.toPrecision(count)).toString());
const dosed = (value) => (value === 0 ? "0" : value.toPrecision(3));

// A value of a house unit in the units that the page is shown in.
function inUnits(told, value, unit, count) {
  const scale = told.scales[unit];
  const shown = value * scale.factor + scale.offset;
  const text = unit === "g/L" ? dosed(shown) : digits(shown, count);
  return `${text.replace(".", told.decimal)} ${scale.unit}`;
}

function readDose() {
  const box = place.querySelector("[data-by-dose]");
  if (!box) return;
  const told = JSON.parse(box.dataset.byDose);
  const dose = Number(form.elements.dose.value);
  // Above what the air carries the promise fails, however the chance is rounded.
  const isCarried = told.ceiling !== null && dose <= told.ceiling;
  box.classList.toggle("hold", !isCarried);
  const say = (name, words) => { box.querySelector(`[data-${name}]`).textContent = words; };
  say("say", isCarried ? `The air carries ${inUnits(told, dose, "g/L")}` : `${inUnits(told, dose, "g/L")} is more than the air carries`);
  say("whole", inUnits(told, dose * told.litres, "g", 3));
  say("chance", (100 * between(told.dose, told.chance, dose)).toFixed(0));
  const oxygen = [0, 1, 2].map((which) => between(told.dose, told.oxygen.map((row) => row[which]), dose));
  say("oxygen", inUnits(told, oxygen[1], "mg/L", 2));
  say("oxygen-range", `${inUnits(told, oxygen[0], "mg/L", 2)} to ${inUnits(told, oxygen[2], "mg/L", 2)}`);
}

if (form) {
  form.addEventListener("input", (event) => {
    const output = document.getElementById(`shown-${event.target.name}`);
    if (output) {
      const { factor, offset } = output.dataset;
      const isAsItIs = Number(factor) === 1 && Number(offset) === 0;
      output.textContent = isAsItIs ? event.target.value : digits(Number(event.target.value) * Number(factor) + Number(offset), 3);
    }
    if (event.target.name === "dose") readDose();
    else place.classList.add("working");
  });
  document.addEventListener("htmx:after:swap", () => {
    place.classList.remove("working");
    readDose();
  });
}
