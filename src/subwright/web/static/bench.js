// The bench page: one step at a time, judged on the spot, readings kept here until the log has them.
import { ask, say, told, word, Refusal, heard } from "./talk.js";

const page = document.getElementById("bench-page");
const who = document.getElementById("who");
const base = `/b/${encodeURIComponent(page.dataset.name)}/bench`;
const shelf = `subwright.bench.${page.dataset.name}`;
const steps = [...page.querySelectorAll("[data-step]")];
const forms = new Map([...page.querySelectorAll("form[data-reading]")].map((form) => [form.dataset.reading, form]));
const traffic = document.getElementById("traffic");
const waiting = document.getElementById("waiting");
const SAID = { passes: "in", fails: "out", "on the edge": "edge" }; // the log's verdicts, in ours
const OVER = "over range"; // as the log reads it
const SAYS = { in: "bench.inside", out: "bench.outside", edge: "bench.edge" };
let rows = new Map();
let mine = new Set(); // what this device entered since the page opened
let away = false;
let warned = ""; // of which other design the reader was told
let first = true; // the log was not read yet for this unit

// --- what this device remembers ------------------------

const inHand = new Map(); // where a browser keeps nothing, the open page still does

function shelved(name, otherwise) {
  if (inHand.has(name)) return inHand.get(name);
  try { return JSON.parse(localStorage.getItem(`${shelf}.${name}`)) ?? otherwise; } catch { return otherwise; }
}

function shelve(name, value) {
  try {
    localStorage.setItem(`${shelf}.${name}`, JSON.stringify(value));
    inHand.delete(name);
  } catch {
    inHand.set(name, value);
    if (name === "queue" && value.length) say(word("bench.no shelf"));
  }
}

const unit = () => who.elements.unit.value.trim();
const queue = () => shelved("queue", []);

// --- numbers ------------------------

function number(text) {
  const plain = text.trim().replace(",", ".").replace("\u2212", "-");
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain) ? Number(plain) : NaN;
}

function share(text) {
  const plain = text.trim();
  const value = number(plain.replace("%", ""));
  return plain.endsWith("%") ? value / 100 : value;
}

const accuracy = (form) => form.elements.accuracy.value.trim() || who.elements.accuracy.value.trim();

function typed(form) {
  const chosen = form.elements.scale.selectedOptions[0];
  const value = number(form.elements.value.value) * Number(chosen.value);
  return { value, text: `${form.elements.value.value.trim().replace(",", ".")} ${chosen.dataset.label}`.trim() };
}

function judge(form) {
  const place = form.querySelector(".verdict");
  const raw = form.elements.value.value.trim();
  form.classList.remove("in", "out", "edge");
  if (!raw) { place.textContent = ""; return ""; }
  const { value } = typed(form);
  if (!Number.isFinite(value)) { place.textContent = word("bench.no number"); return ""; }
  const low = Number(form.dataset.low), high = form.dataset.high === "" ? Infinity : Number(form.dataset.high);
  const off = Math.abs(value) * (share(accuracy(form)) || 0);
  const inside = low + off <= value && value <= high - off;
  const outside = value + off < low || value - off > high;
  const verdict = inside ? "in" : outside ? "out" : "edge";
  form.classList.add(verdict);
  place.textContent = word(SAYS[verdict]);
  if (outside) form.closest("[data-step]").querySelector(".wrong").open = true;
  return verdict;
}

// --- showing ------------------------


function state(section) {
  const own = [...section.querySelectorAll("form[data-reading]")].map((form) => rows.get(form.dataset.reading));
  if (own.some((row) => row?.verdict === "fails")) return "bad";
  if (own.length && own.every((row) => row?.current)) return "done"; // none fails
  if (!own.length && section.dataset.step !== "fit") {
    const acts = [...section.querySelectorAll("[data-act]")];
    return acts.length && acts.every((box) => box.checked) ? "done" : "";
  }
  return own.some(Boolean) ? "begun" : "";
}

const real = () => steps.filter((section) => section.dataset.step !== "fit");
const openStep = () => real().find((section) => state(section) !== "done");
const shown = () => steps.find((section) => !section.hidden);

function mark() {
  for (const button of page.querySelectorAll("[data-go]")) {
    const section = steps.find((one) => one.dataset.step === button.dataset.go);
    button.className = section.dataset.step === "fit" ? "" : state(section);
    if (!section.hidden) button.setAttribute("aria-current", "step");
    else button.removeAttribute("aria-current");
  }
  const done = real().filter((section) => state(section) === "done").length;
  document.getElementById("progress").value = done;
  const all = real().length;
  document.getElementById("done").textContent = done === all ? word("bench.all done") : `${done}/${all} ${word("bench.steps done")}`;
  const now = shown(), at = openStep();
  for (const section of real()) {
    section.querySelector(".ahead").hidden = !(section === now && at && real().indexOf(section) > real().indexOf(at));
  }
}

function fill() {
  const held = new Map(queue().filter((one) => one.unit === unit()).map((one) => [one.key, one]));
  for (const [key, form] of forms) {
    const row = rows.get(key), place = form.querySelector(".had"), late = held.get(key);
    form.dataset.verdict = row ? SAID[row.verdict] : "";
    place.replaceChildren();
    if (row) {
      const when = new Date(row.at);
      const parts = [row.value, `± ${row.accuracy}`, word(SAYS[SAID[row.verdict]]), when.toLocaleString(document.documentElement.lang, { dateStyle: "short", timeStyle: "short" })];
      if (row.note) parts.push(row.note);
      if (!row.current) parts.push(word("bench.of"));
      place.textContent = parts.join(" · ");
    }
    if (late) place.append(`${row ? " · " : ""}${late.value}: ${late.refused ? word("bench.refused") : away ? word("bench.kept here") : word("bench.sending")}`);
  }
  mark();
}

function show(key, focus = true) {
  const wanted = steps.find((section) => section.dataset.step === key) ?? steps[0];
  for (const section of steps) section.hidden = section !== wanted;
  shelve("step", wanted.dataset.step);
  page.querySelector('[data-turn="-1"]').disabled = wanted === steps[0];
  page.querySelector('[data-turn="1"]').disabled = wanted === steps.at(-1);
  mark();
  if (wanted.dataset.step === "fit") refit();
  if (focus) {
    const head = wanted.querySelector("h2");
    head.focus({ preventScroll: true });
    head.scrollIntoView({ block: "start" });
  }
}

async function refit() {
  try {
    document.getElementById("fit").innerHTML = await ask(`${base}/fit?${new URLSearchParams({ unit: unit() || "?" })}`, undefined, "text", quietly);
  } catch (refusal) {
    heard(refusal);
  }
}

// --- sending ------------------------

function quietly() { away = true; tell(); }

function tell() {
  const late = queue(), kept = late.filter((one) => !one.refused);
  traffic.classList.toggle("late", kept.length > 0 && away);
  if (kept.length && away) traffic.textContent = `${kept.length} × ${word("bench.waiting")}`;
  else if (kept.length) traffic.textContent = word("bench.sending");
  else traffic.textContent = away ? word("no answer") : word("bench.saved");
  const refused = late.filter((one) => one.refused);
  waiting.hidden = !late.length;
  waiting.replaceChildren(...late.map((one) => {
    const line = document.createElement("p");
    line.textContent = `${one.unit}: ${one.key} = ${one.value}${one.refused ? ` · ${word("bench.refused")}: ${one.refused}` : ""}`;
    if (one.refused) {
      const drop = document.createElement("button");
      drop.type = "button";
      drop.textContent = word("bench.drop");
      drop.addEventListener("click", () => { shelve("queue", queue().filter((other) => other.at !== one.at)); tell(); fill(); });
      line.append(" ", drop);
      line.className = "bad";
    }
    return line;
  }));
  return refused.length;
}

let sending = false;

async function send() {
  if (sending) return;
  sending = true;
  try {
    for (;;) {
      const next = queue().find((one) => !one.refused);
      if (!next) break;
      try {
        const { refused, ...body } = next, turn = ++asked;
        take(await ask(`${base}/reading`, body, "json", quietly), next.unit, turn);
        away = false;
        shelve("queue", queue().filter((one) => one.at !== next.at));
      } catch (refusal) {
        if (!(refusal instanceof Refusal)) throw refusal;
        if (refusal.status === 0 || refusal.status >= 500) break; // kept, and tried again later
        shelve("queue", queue().map((one) => (one.at === next.at ? { ...one, refused: told(refusal.error) } : one)));
      }
    }
  } finally {
    sending = false;
    tell();
    fill();
  }
}

let asked = 0, taken = 0; // logs so far: one that a later one overtook is not shown

function take(log, forUnit, turn) {
  for (const known of log.units) {
    if (![...document.querySelectorAll("#units option")].some((option) => option.value === known)) {
      const option = document.createElement("option");
      option.value = known;
      document.getElementById("units").append(option);
    }
  }
  if (log.code && log.code !== page.dataset.code && warned !== log.code) {
    warned = log.code;
    say(word("bench.new design"), [[word("bench.reload"), () => location.reload()]]);
  }
  if (forUnit !== unit() || turn < taken) return;
  taken = turn;
  const fresh = new Map(log.rows.map((row) => [row.key, row]));
  const strange = [...fresh.values()].filter((row) => rows.get(row.key)?.at !== row.at && !mine.has(Date.parse(row.at)));
  rows = fresh;
  suspect(log.suspects);
  if (!first && strange.length) say(`${word("bench.other device")} ${strange.map((row) => `${row.key} ${row.value}`).join(", ")}`, [], 8);
  first = false;
}

function suspect(found) {
  const place = document.getElementById("suspects");
  place.hidden = !found?.wrong.length;
  if (place.hidden) return;
  for (const list of page.querySelectorAll(".wrong")) list.open = false; // what follows says it closer
  place.querySelector("ol").replaceChildren(...found.rows.map((row) => {
    const line = document.createElement("li"), head = document.createElement("b"), then = document.createElement("p"), bar = document.createElement("progress");
    head.textContent = `${Math.round(100 * row.share)} % ${row.what}`;
    then.textContent = `→ ${row.remedy}`;
    bar.max = 1;
    bar.value = row.share;
    bar.setAttribute("aria-hidden", "true");
    line.append(bar, head, then);
    for (const [key, keys] of [["bench.leaves", row.leaves], ["bench.against", row.against]]) {
      if (!keys.length) continue;
      const doubt = document.createElement("p");
      doubt.className = "soft";
      doubt.textContent = `${word(key)} ${keys.join(", ")}`;
      line.append(doubt);
    }
    return line;
  }));
  if (!found.rows.length) place.querySelector("ol").textContent = word("bench.no suspect");
  place.querySelector(".next").textContent = found.next ? `${word("bench.next reading")} ${found.next.name} (${found.next.key})` : "";
}

async function look() {
  if (document.hidden) return;
  const forUnit = unit(), turn = ++asked;
  try {
    const log = await ask(`${base}/log?${new URLSearchParams({ unit: forUnit })}`, undefined, "json", quietly);
    away = false;
    take(log, forUnit, turn);
  } catch { /* shown in the line of traffic */ }
  tell();
  fill();
  if (!away) await send();
}

// --- the hand ------------------------

page.addEventListener("input", (event) => {
  const form = event.target.closest("form[data-reading]");
  if (form) judge(form);
});
page.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-reading]");
  if (form) judge(form);
  if (event.target.dataset.act) {
    shelve(`acts.${unit()}`, [...page.querySelectorAll("[data-act]:checked")].map((box) => box.dataset.act));
    mark();
  }
});
page.addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target.closest("form[data-reading]");
  if (!form) return;
  if (!unit()) {
    form.querySelector(".verdict").textContent = word("bench.needs unit");
    who.elements.unit.focus();
    return;
  }
  const { value, text } = typed(form);
  if (!Number.isFinite(value)) { judge(form); form.elements.value.focus(); return; }
  enter(form, text);
});

function enter(form, text) {
  let at = Date.now();
  while (mine.has(at)) at += 1;
  mine.add(at);
  const entry = { unit: unit(), key: form.dataset.reading, value: text, accuracy: accuracy(form), note: form.elements.note.value.trim(), at: new Date(at).toISOString() };
  shelve("queue", [...queue(), entry]);
  form.elements.value.value = "";
  form.elements.note.value = "";
  const verdict = form.querySelector(".verdict").textContent;
  judge(form);
  form.querySelector(".verdict").textContent = text === OVER ? "" : `${text} ${verdict}`;
  tell();
  fill();
  send();
}

page.addEventListener("click", (event) => {
  const at = (selector) => event.target.closest(selector);
  if (at("[data-over]")) {
    if (unit()) enter(at("form"), OVER);
    else who.elements.unit.focus();
  } else if (at("[data-go]")) show(at("[data-go]").dataset.go);
  else if (at("[data-first]")) show((openStep() ?? steps[0]).dataset.step);
  else if (at("[data-turn]")) show(steps[steps.indexOf(shown()) + Number(at("[data-turn]").dataset.turn)]?.dataset.step);
});
who.addEventListener("change", () => {
  shelve("unit", unit());
  shelve("accuracy", who.elements.accuracy.value);
  rows = new Map();
  suspect(null);
  first = true;
  restore();
  for (const form of forms.values()) judge(form);
  look();
});

function restore() {
  const done = new Set(shelved(`acts.${unit()}`, []));
  for (const box of page.querySelectorAll("[data-act]")) box.checked = done.has(box.dataset.act);
}

who.elements.unit.value = shelved("unit", document.querySelector("#units option")?.value ?? "");
who.elements.accuracy.value = shelved("accuracy", who.elements.accuracy.value);
restore();
await look();
show(shelved("step", openStep()?.dataset.step ?? "fit"), false);
setInterval(look, 3000);
window.addEventListener("online", look);
document.addEventListener("visibilitychange", look);
page.dataset.ready = "yes";
