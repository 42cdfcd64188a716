// One build: sheets that open, values that change, a battery that swings. The server draws; this patches.
import { ask, say, quiet, told, word, showPage, explain, heard } from "./talk.js";
import { Plots, placeFor } from "./plot.js";
import { Circuits } from "./circuit.js";

const bench = document.getElementById("bench");
const scene = document.getElementById("scene");
const sheet = document.getElementById("sheet");
const moved = document.getElementById("moved");
const emf = document.getElementById("emf");
const form = document.getElementById("moment");
const dialog = document.getElementById("page");
const base = `/b/${encodeURIComponent(bench.dataset.name)}`;
let revision = Number(bench.dataset.revision);
let touched = false; // whether the reader moved the battery away from nominal
let pin = "";
let opener = null;

const level = () => form.elements.level?.value ?? "full";
const volts = () => (touched ? Number(emf.value) : null);
const open = () => location.hash.slice(1).split("/")[0];
const view = () => ({ emf: volts(), level: level(), sheet: open() === "pane" ? "" : open(), pin, wide: placeFor(sheet) });
const plots = new Plots(sheet, base, () => ({ pin, emf: Number(emf.value) }));

const circuits = new Circuits(sheet, base, (key, value) => change("/set", { key, value }));

function query() {
  const wish = new URLSearchParams({ level: level() });
  if (touched) wish.set("emf", emf.value);
  if (pin) wish.set("pin", pin);
  return wish;
}

function showVolts() {
  document.getElementById("emf-now").textContent = `${Number(emf.value).toFixed(2)} V`;
  emf.setAttribute("aria-valuetext", `${Number(emf.value).toFixed(2)} V`);
}

// --- the moment: battery voltage and level ------------------------

let wanted = false, running = false;

async function follow() {
  wanted = true;
  if (running) return;
  running = true;
  while (wanted) {
    wanted = false;
    try {
      patch(await ask(`${base}/now?${query()}`));
    } catch (refusal) {
      heard(refusal, 8);
      break;
    }
  }
  running = false;
}

function patch(now) {
  for (const [key, values] of Object.entries(now.live)) {
    const node = scene.querySelector(`[data-k="${key}"]`);
    if (!node) continue;
    for (const [name, value] of Object.entries(values)) {
      if (name === "text") {
        if (node.textContent !== value) node.textContent = value;
      } else node.setAttribute(name, value);
    }
  }
  document.getElementById("state").textContent = word(`state.${now.state}`);
  bench.dataset.moment = now.emf.toFixed(3);
}

let settle;
emf.addEventListener("input", () => {
  touched = true;
  showVolts();
  follow();
  clearTimeout(settle);
  settle = setTimeout(() => plots.all(sheet, true), 180);
});
form.addEventListener("change", (event) => { if (event.target.name === "level") follow(); });
form.addEventListener("submit", (event) => event.preventDefault());

// --- sheets ------------------------

let asked = 0; // sheets so far: an answer that another one overtook is not shown

async function openSheet(focus = true) {
  const key = view().sheet, turn = ++asked;
  let html;
  try {
    html = await ask(`${base}/sheet/${key || "overview"}?${query()}&wide=${placeFor(sheet)}`, undefined, "text");
  } catch (refusal) {
    heard(refusal, 8);
    return;
  }
  if (turn === asked) {
    sheet.innerHTML = html;
    sheet.dataset.shown = key || "overview";
    mark(key);
    for (const told of moved.querySelectorAll("details.moved")) told.open = false; // folded, so that it covers no other sheet
    circuits.watch();
  } else if (key !== view().sheet) return;
  if (jump()) return;
  if (focus) {
    sheet.querySelector("h2")?.focus({ preventScroll: true });
    if (key) document.getElementById("pane").scrollIntoView();
  }
}

// to a part of the sheet, or one of its inputs: what stands behind the "/" of the address
function jump() {
  const at = document.getElementById(location.hash.split("/")[1]);
  for (let fold = at?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  at?.scrollIntoView();
  at?.focus({ preventScroll: true });
  return at;
}

function mark(key) {
  for (const thing of scene.querySelectorAll("a.thing")) {
    thing.classList.toggle("opened", thing.dataset.stage === key);
    if (thing.dataset.stage === key) thing.setAttribute("aria-current", "true");
    else thing.removeAttribute("aria-current");
  }
}

function closeSheet() {
  const key = open();
  history.pushState(null, "", location.pathname);
  openSheet(false).then(() => {
    const layout = matchMedia("(max-width:680px)").matches ? ".narrow" : ".wide";
    (opener?.isConnected ? opener : scene.querySelector(`${layout} a[data-stage="${key}"]`))?.focus();
  });
}

window.addEventListener("hashchange", () => openSheet());
window.addEventListener("popstate", () => { if (!location.hash) openSheet(false); });

document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-stage]");
  if (link) {
    opener = link;
    if (dialog.open) dialog.close();
    if (link.dataset.stage === open()) {
      event.preventDefault();
      history.replaceState(null, "", link.getAttribute("href"));
      if (!jump()) openSheet();
    }
    return;
  }
  const code = event.target.closest("[data-explain]");
  if (code) {
    event.preventDefault();
    explain(code.dataset.explain);
  }
});

// --- changes ------------------------

function take(answer, key) {
  const before = new Map();
  for (const node of scene.querySelectorAll("text[data-k]")) before.set(node.dataset.k, node.textContent);
  revision = answer.revision;
  bench.dataset.revision = revision;
  if (answer.scene) scene.innerHTML = answer.scene; // without a design the last one stays, faded
  bench.classList.toggle("stale", !answer.scene);
  for (const node of answer.scene ? scene.querySelectorAll("text[data-k]") : []) {
    if (before.has(node.dataset.k) && before.get(node.dataset.k) !== node.textContent) node.classList.add("changed");
  }
  if (key === view().sheet) redraw(answer.pane, key);
  else openSheet(false); // another sheet was opened meanwhile
  moved.innerHTML = answer.moved;
  besides();
  document.title = `${answer.title} · subwright`;
  document.getElementById("title").textContent = answer.title;
  button("undo", answer.undo);
  button("redo", answer.redo);
  form.hidden = false;
  for (const input of form.elements) input.disabled = !answer.ruler;
  if (!answer.ruler) document.getElementById("state").textContent = word("no design");
  else {
    emf.min = answer.ruler.low;
    emf.max = answer.ruler.high;
    emf.value = answer.emf;
    document.getElementById("ruler").innerHTML = answer.ruler.svg;
    document.getElementById("state").textContent = word(`state.${answer.state}`);
    showVolts();
  }
  mark(open());
}

function redraw(pane, key) {
  const held = document.activeElement?.closest?.("form[data-key]");
  const kept = { key: held?.dataset.key, top: held?.getBoundingClientRect().top, scroll: window.scrollY };
  const unfolded = sheet.dataset.shown === (key || "overview") ? [...sheet.querySelectorAll("details")].map((d) => d.open) : [];
  asked += 1;
  sheet.innerHTML = pane;
  sheet.dataset.shown = key || "overview";
  sheet.querySelectorAll("details").forEach((d, i) => { d.open = unfolded[i] ?? d.open; });
  circuits.watch();
  const again = kept.key && sheet.querySelector(`form[data-key="${kept.key}"]`);
  again?.querySelector("[name=value]").focus({ preventScroll: true });
  if (again) window.scrollBy({ top: again.getBoundingClientRect().top - kept.top, behavior: "instant" });
  else window.scrollTo({ top: kept.scroll, behavior: "instant" });
}

function button(id, what) {
  const node = document.getElementById(id);
  node.disabled = !what;
  node.title = what;
}

// One change after the other: each is made on the state that the one before it left.
let changes = Promise.resolve(), begun = 0, changing = false;

function change(path, body, field) {
  const made = changes.then(() => send(path, body, field));
  changes = made.catch(() => {}).then(() => { changing = false; });
  return made;
}

async function send(path, body, field) {
  begun += 1;
  changing = true;
  const slow = setTimeout(() => say(word("designing")), 700), seen = view();
  try {
    const answer = await ask(`${base}${path}`, { ...seen, revision, ...body }, "json", () => unanswered(path, body));
    clearTimeout(slow);
    take(answer, seen.sheet);
    quiet();
    return true;
  } catch (refusal) {
    clearTimeout(slow);
    if (refusal.status === 409) await conflict(refusal, path, body);
    else if (refusal.status && field) bad(field, refusal.error);
    else heard(refusal);
    return false;
  }
}

const mineOf = (body) => (body?.key ? ` ${word("not taken")}: ${body.key} = ${body.value || "auto"}` : "");

let waiting = false; // whether a change that found no server is on offer to be made again

function unanswered(path, body) {
  waiting = true;
  say(`${word("no answer")}${mineOf(body)}`, [[word("try again"), () => again(path, body)]]);
}

// the server may have made the change before its answer was lost: only what it does not show is asked for again
async function again(path, body) {
  waiting = false;
  try {
    await fresh();
  } catch {
    unanswered(path, body);
    return;
  }
  const inputs = body?.key && sheet.querySelector(`form[data-key="${body.key}"]`);
  if (body?.key && inputs?.elements.value.value.trim() !== body.value) change(path, body, inputs?.closest(".field"));
}

function bad(field, error) {
  const place = field.querySelector(".answer");
  const line = document.createElement("p");
  line.className = "bad";
  line.setAttribute("role", "alert");
  line.textContent = told(error);
  place.replaceChildren(line);
  field.querySelector("[name=value]")?.setAttribute("aria-invalid", "true");
}

// the state that the server holds; false where a change of ours began meanwhile, whose answer brings it
async function fresh() {
  const before = begun;
  const page = new DOMParser().parseFromString(await ask(`${base}`, undefined, "text"), "text/html");
  if (before !== begun) return false;
  scene.innerHTML = page.getElementById("scene").innerHTML;
  revision = Number(page.getElementById("bench").dataset.revision);
  bench.dataset.revision = revision;
  for (const id of ["undo", "redo"]) button(id, page.getElementById(id).disabled ? "" : page.getElementById(id).title);
  document.getElementById("title").textContent = page.getElementById("title").textContent;
  await openSheet(false);
  if (touched || level() !== "full") follow();
  return true;
}

async function conflict(refusal, path, body) {
  const mine = mineOf(body);
  try {
    await fresh();
  } catch {
    return; // it was said
  }
  const again = body?.key ? [[word("make it now"), () => change(path, body)]] : [];
  say(`${told(refusal.error)}.${mine}`, again);
}

sheet.addEventListener("submit", (event) => {
  const inputs = event.target.closest("form[data-key]");
  if (inputs) {
    event.preventDefault();
    set(inputs);
  }
});

sheet.addEventListener("change", (event) => {
  if (event.target.id === "pin") {
    pin = event.target.value;
    plots.all(sheet);
    ask(`${base}/against?${new URLSearchParams({ pin })}`, undefined, "text").then((html) => { moved.innerHTML = html; });
    return;
  }
  const inputs = event.target.closest("form[data-key]");
  if (inputs && inputs.elements.value.value.trim() !== inputs.dataset.tried) set(inputs);
});

// what was only tried is not what the field says
function restore(field) {
  const inputs = field?.querySelector("form[data-key]"), value = inputs?.elements.value;
  if (inputs?.dataset.tried === undefined) return;
  delete inputs.dataset.tried;
  if (value.options) for (const option of value.options) option.selected = option.defaultSelected;
  else value.value = value.defaultValue;
}

function set(inputs) {
  const value = inputs.elements.value.value.trim();
  const field = inputs.closest(".field");
  if (inputs.dataset.sent === value) return;
  inputs.dataset.sent = value;
  change("/set", { key: inputs.dataset.key, value }, field).then((fine) => {
    if (!fine) delete inputs.dataset.sent;
  });
}

sheet.addEventListener("click", async (event) => {
  for (const told of moved.querySelectorAll("details.moved")) told.open = false;
  const at = (selector) => event.target.closest(selector);
  const field = at(".field");
  if (at("[data-close]")) closeSheet();
  else if (at("[data-wider]")) bench.classList.toggle("wider");
  else if (at("[data-default]")) change("/set", { key: field.querySelector("form").dataset.key, value: "" }, field);
  else if (at("[data-whatif]")) tryOut(field, field.querySelector("[name=value]").value.trim());
  else if (at("[data-try]")) tryOut(field, at("[data-try]").dataset.try);
  else if (at("[data-take]")) change("/set", { key: field.querySelector("form").dataset.key, value: at("[data-take]").dataset.take }, field);
  else if (at("[data-leave]")) {
    const holder = at(".answer").parentElement;
    restore(field);
    at(".answer").replaceChildren();
    holder.querySelector("[name=value], [data-remedies]")?.focus();
  } else if (at("[data-alternatives]")) alternatives(field, at("[data-alternatives]"));
  else if (at("[data-file]")) {
    event.preventDefault();
    location.href = `${base}/file`;
  }
});

// a part's name can be chosen while it is typed
sheet.addEventListener("focusin", async (event) => {
  const list = event.target.list;
  if (!list || list.hasChildNodes()) return;
  const ids = await ask(`${base}/ids?key=${event.target.form.dataset.key}`).catch(() => []);
  for (const [id, what] of ids) list.append(new Option(what, id));
});

// "what if" asks before the change event of the same field would make it
sheet.addEventListener("pointerdown", (event) => {
  const asked = event.target.closest("[data-whatif]");
  if (!asked) return;
  event.preventDefault();
  const inputs = asked.closest("form[data-key]");
  inputs.dataset.sent = inputs.elements.value.value.trim();
});

async function tryOut(field, value) {
  const inputs = field.querySelector("form[data-key]");
  const slow = setTimeout(() => { field.querySelector(".answer").textContent = word("designing"); }, 500);
  try {
    const wish = new URLSearchParams({ key: inputs.dataset.key, value });
    const told = await ask(`${base}/whatif?${wish}`, undefined, "text");
    clearTimeout(slow);
    field.querySelector(".answer").innerHTML = told;
  } catch (refusal) {
    if (refusal.status) bad(field, refusal.error);
  }
  clearTimeout(slow);
  delete inputs.dataset.sent;
  inputs.dataset.tried = inputs.elements.value.value.trim(); // leaving the field does not make it; Enter does
}

// what is tried without being made: its script comes when it is first wanted
let trying;
const tools = () => (trying ??= import("./trying.js").then(({ Trying }) => new Trying({ base, name: bench.dataset.name, change, bad, restore })));

// the table beside what the build is now, where one was begun
function besides() {
  let kept;
  try { kept = sessionStorage.getItem(`beside:${bench.dataset.name}`); } catch { /* no shelf */ }
  if (trying || (kept && kept !== "[]")) tools().then((one) => one.beside());
}

document.getElementById("pane").addEventListener("click", async ({ target }) => {
  if (target.closest("[data-undo]")) change("/undo");
  else if (target.closest("[data-remedies], [data-stop-trying], [data-beside-key], [data-take-key], [data-aside]")) (await tools()).click(target);
});

async function alternatives(field, asked) {
  const place = field.querySelector(".answer");
  if (asked.getAttribute("aria-expanded") === "true") {
    place.replaceChildren();
    asked.setAttribute("aria-expanded", "false");
    return;
  }
  const wish = new URLSearchParams({ key: asked.dataset.alternatives });
  place.textContent = word("designing");
  try {
    place.innerHTML = await ask(`${base}/alternatives?${wish}`, undefined, "text");
  } catch (refusal) {
    if (refusal.status) bad(field, refusal.error);
    else place.replaceChildren();
    return;
  }
  asked.setAttribute("aria-expanded", "true");
}

moved.addEventListener("click", (event) => { if (event.target.closest("[data-hide]")) moved.replaceChildren(); });
document.getElementById("undo").addEventListener("click", () => change("/undo"));
document.getElementById("redo").addEventListener("click", () => change("/redo"));

document.addEventListener("keydown", (event) => {
  const typing = event.target.matches?.("input:not([type=range]):not([type=radio]), textarea, select");
  if (event.key === "Escape" && !dialog.open && open()) closeSheet();
  if (event.key === "?" && !typing && !dialog.open) showKeys();
  if (!(event.ctrlKey || event.metaKey) || typing) return;
  const key = event.key.toLowerCase();
  if (key === "z") { event.preventDefault(); change(event.shiftKey ? "/redo" : "/undo"); }
  else if (key === "y") { event.preventDefault(); change("/redo"); }
});

const showKeys = () => showPage(document.getElementById("keys-page").innerHTML);
document.getElementById("show-keys").addEventListener("click", showKeys);

// --- versions, pack, other windows ------------------------

document.querySelector("[data-open=versions]").addEventListener("click", async () => {
  showPage(await ask(`${base}/versions`, undefined, "text"));
});

dialog.addEventListener("submit", async (event) => {
  const keeping = event.target.closest("form[data-keep]");
  if (!keeping) return;
  event.preventDefault();
  try {
    showPage(await ask(`${base}/keep`, { title: keeping.elements.title.value }, "text"));
  } catch (refusal) {
    heard(refusal);
  }
});
dialog.addEventListener("click", async (event) => {
  const back = event.target.closest("[data-restore]");
  if (back && await change("/restore", { name: back.dataset.restore })) dialog.close();
});

document.getElementById("packs").addEventListener("click", async (event) => {
  const wanted = event.target.closest("[data-pack]");
  if (!wanted) return;
  wanted.closest("details").open = false;
  try {
    const { job } = await ask(`${base}/pack`, { form: wanted.dataset.pack });
    let going = true;
    const cancel = () => { going = false; ask(`/jobs/${job}/cancel`, {}).catch(() => {}); };
    const bubble = say(word("making pack"), [[word("trial cancel"), cancel]]);
    const bar = document.createElement("progress");
    bar.max = 1;
    bubble.append(bar);
    while (going) {
      const now = await ask(`/jobs/${job}`);
      if (!going) return;
      bar.value = now.share;
      if (now.error) { say(told(now.error)); return; }
      if (now.ready) {
        const link = document.createElement("a");
        link.href = `/jobs/${job}/file`;
        link.textContent = word("get pack");
        link.setAttribute("download", "");
        say(now.stamp ? word("pack stopped") : "").prepend(link);
        link.click();
        return;
      }
      await new Promise((done) => setTimeout(done, 120));
    }
  } catch (refusal) {
    heard(refusal);
  }
});

async function look() {
  if (document.hidden || changing || (waiting && !document.getElementById("talk").hidden)) return;
  const before = begun;
  try {
    const now = await ask(`${base}/revision`);
    if (now.revision !== revision && before === begun) { // else it may tell of a change of ours
      const typing = document.activeElement?.matches("input:not([type=range]):not([type=radio]), textarea");
      if (!typing && !(await fresh())) return;
      say(`${word("changed elsewhere")} ${now.last}`, typing ? [[word("show new"), fresh]] : [], 10);
    }
  } catch (refusal) {
    if (refusal.status === 404) { // otherwise it was said already
      clearInterval(looking);
      say(word("gone"), [[word("builds"), () => { location.href = "/builds"; }]]);
    }
  }
}
const looking = setInterval(look, 4000);
document.addEventListener("visibilitychange", look);

// --- measuring a driver ------------------------

async function runs(form) {
  const text = async (name) => {
    const file = form.elements[name].files[0];
    if (!file) return "";
    if (!/\.wave?$/i.test(file.name)) return file.text();
    return (await ask("/recording", file)).recording;
  };
  const told = { free: await text("free"), loaded: await text("loaded") };
  for (const name of ["mass", "test_box", "piston", "re", "resistor", "right"]) told[name] = form.elements[name].value;
  return told;
}

sheet.addEventListener("submit", async (event) => {
  const asked = event.target.closest("form.measure");
  if (!asked) return;
  event.preventDefault();
  const place = sheet.querySelector("[data-answer=measure]");
  const keeping = asked.matches("[data-keep-driver]");
  try {
    const sent = await runs(keeping ? sheet.querySelector("[data-measure] > form") : asked);
    if (!keeping) place.innerHTML = await ask("/measure", sent, "text");
    else for (const name of ["id", "xmax", "power"]) sent[name] = asked.elements[name].value;
    if (keeping) await change("/measured", sent);
  } catch (refusal) {
    if (refusal.status) place.textContent = told(refusal.error);
  }
});
for (const kind of ["dragover", "dragleave", "drop"]) {
  sheet.addEventListener(kind, (event) => {
    const zone = event.target.closest(".dropzone");
    if (!zone) return;
    event.preventDefault();
    zone.classList.toggle("over", kind === "dragover");
    if (kind === "drop") zone.querySelector("input").files = event.dataTransfer.files;
  });
}

showVolts();
sheet.dataset.shown = "overview";
if (open()) await openSheet(false);
besides();
circuits.watch();
bench.dataset.ready = "yes";
