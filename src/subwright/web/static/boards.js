// Boards: begun here, watched while they are placed and routed, shown when they are done.
import { ask, say, told, word, heard } from "./talk.js";
import { Circuits } from "./circuit.js";

const page = document.getElementById("boards");
const base = `/b/${encodeURIComponent(page.dataset.name)}/boards`;
const running = document.getElementById("running");
const bar = running.querySelector("progress");
const line = running.querySelector("output");
const cancel = document.getElementById("cancel");
let job = "";
new Circuits(document.getElementById("made"), base, () => {});

function busy(state) {
  running.hidden = !state;
  for (const button of page.querySelectorAll("[data-make]")) button.disabled = state;
}

async function watch() {
  busy(true);
  cancel.disabled = false;
  running.scrollIntoView({ block: "nearest" });
  for (;;) {
    let now;
    try {
      now = await ask(`/boards/${job}`);
    } catch (refusal) {
      if (refusal.status) { say(told(refusal.error)); break; }
      await new Promise((done) => setTimeout(done, 2000)); // the server may come back, the work does not
      continue;
    }
    bar.value = now.share;
    line.textContent = `${Math.round(100 * now.share)} % · ${now.seconds.toFixed(1)} ${word("trial.seconds")} · ${now.doing}`;
    if (now.over) {
      if (now.cancelled) say(word("board.cancelled"));
      else if (now.error) say(told(now.error));
      else if (now.failed.length) say(`${word("board.failed")} ${now.failed.join("; ")}`);
      await show();
      break;
    }
    await new Promise((done) => setTimeout(done, 300));
  }
  busy(false);
}

async function show() {
  const whole = new DOMParser().parseFromString(await ask(base, undefined, "text"), "text/html");
  for (const id of ["state", "made"]) document.getElementById(id).innerHTML = whole.getElementById(id).innerHTML;
}

page.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-make]");
  if (!button || !running.hidden) return;
  try {
    job = (await ask(base, { keys: button.dataset.make ? [button.dataset.make] : [] })).job;
    await watch();
  } catch (refusal) {
    heard(refusal);
    busy(false);
  }
});
cancel.addEventListener("click", async () => {
  cancel.disabled = true;
  line.textContent = word("board.ending");
  try { await ask(`/boards/${job}/cancel`, {}); } catch (refusal) { heard(refusal); }
});

page.dataset.ready = "yes";
if (page.dataset.running) {
  job = page.dataset.running;
  watch();
}
