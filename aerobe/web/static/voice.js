// Speaking a value in the place of typing it, where the browser listens. What was heard stands in the field as if it had been
// typed: it is seen before it is kept, and the server reads it as it reads everything that is typed.
const Recognition = window.SpeechRecognition ?? window.webkitSpeechRecognition;
const SMALL = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split(" ");
const TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

// English number words in digits: "seven point nine" as 7.9, "one hundred and five" as 105. Anything else stays as it was heard.
export function digits(heard) {
  let text = heard.trim().toLowerCase().replace(/[.!?]$/, "");
  let mark = "";
  const limit = /^(less than|below|under|more than|above|over)\s+/.exec(text);
  if (limit) {
    mark = ["less than", "below", "under"].includes(limit[1]) ? "<" : ">";
    text = text.slice(limit[0].length);
  }
  const found = /^[-+]?\d[\d.,]*/.exec(text);
  if (found) return mark + found[0].replace(/[.,]$/, "");
  const [whole, part] = text.replaceAll("-", " ").split(/\s+(?:point|comma)\s+/);
  const before = counted(whole.split(/\s+/));
  if (before === null) return heard.trim();
  if (part === undefined) return `${mark}${before}`;
  const after = part.split(/\s+/).map((word) => (/^\d+$/.test(word) ? word : SMALL.indexOf(word)));
  return after.every((item) => item !== -1 && String(item).length === 1) ? `${mark}${before}.${after.join("")}` : heard.trim();
}

function counted(words) {
  let all = 0, now = 0;
  for (const word of words) {
    if (word === "and") continue;
    if (SMALL.includes(word)) now += SMALL.indexOf(word);
    else if (TENS.includes(word)) now += 20 + 10 * TENS.indexOf(word);
    else if (word === "hundred") now = 100 * (now || 1);
    else if (word === "thousand") { all += 1000 * (now || 1); now = 0; }
    else return null;
  }
  return all + now;
}

// What was heard is the only text that an alternative of the browser holds; beside it stands how sure it is.
function wordsIn(alternative) {
  for (const part in alternative) if (typeof alternative[part] === "string") return alternative[part];
  return "";
}

for (const key of Recognition ? document.querySelectorAll("[data-voice]") : []) {
  const input = document.getElementById(key.dataset.voice);
  const words = document.getElementById(key.getAttribute("aria-describedby"));
  key.hidden = words.hidden = false;
  const idle = words.textContent;
  key.addEventListener("click", () => {
    const ear = new Recognition();
    ear.lang = navigator.language;
    ear.onresult = (event) => {
      const heard = wordsIn(event.results[0][0]);
      input.value = key.dataset.voiceKind === "words" ? `${input.value} ${heard}`.trim() : digits(heard);
      input.dispatchEvent(new Event("input", { bubbles: true }));
      words.textContent = `Heard: “${heard}”. Look at it before you keep it.`;
    };
    ear.onerror = (event) => {
      words.textContent = event.error === "not-allowed" ? "The browser does not let this page listen." : "Nothing was understood. Say it again, or type it.";
    };
    ear.onend = () => { key.disabled = false; if (words.textContent === "Listening …") words.textContent = idle; };
    words.textContent = "Listening …";
    key.disabled = true;
    ear.start();
  });
}
