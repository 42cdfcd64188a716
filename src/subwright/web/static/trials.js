// Simulations: begun here, watched while they run, cancelled, and shown when they are over.
import { ask, say, told, word, heard } from "./talk.js";
import { Plots } from "./plot.js";

const page = document.getElementById("trials");
const base = `/b/${encodeURIComponent(page.dataset.name)}/trials`;
const running = document.getElementById("running");
const result = document.getElementById("result");
const bar = running.querySelector("progress");
const line = running.querySelector("output");
const cancel = document.getElementById("cancel");
let job = "";
new Plots(result, "", () => ({}));

function busy(state) {
  running.hidden = !state;
  page.dataset.busy = state ? "yes" : "";
  for (const button of page.querySelectorAll("[data-run]")) button.disabled = state;
}

async function watch() {
  busy(true);
  cancel.disabled = false;
  running.scrollIntoView({ block: "nearest" });
  for (;;) {
    let now;
    try {
      now = await ask(`/trials/${job}`);
    } catch (refusal) {
      if (refusal.status) { say(told(refusal.error)); break; }
      await new Promise((done) => setTimeout(done, 2000)); // the server may come back, the run does not
      continue;
    }
    bar.value = now.share;
    line.textContent = `${Math.round(100 * now.share)} % · ${now.seconds.toFixed(1)} ${word("trial.seconds")} · ${now.doing}`;
    if (now.over) {
      if (now.cancelled) say(word("trial.cancelled"));
      else if (now.error) say(told(now.error));
      else await show();
      await kept();
      break;
    }
    await new Promise((done) => setTimeout(done, 200));
  }
  busy(false);
}

async function show() {
  result.innerHTML = await ask(`/trials/${job}/result`, undefined, "text");
  const head = result.querySelector("h2");
  head.focus({ preventScroll: true });
  head.scrollIntoView({ block: "start" });
}

async function kept() {
  const whole = new DOMParser().parseFromString(await ask(base, undefined, "text"), "text/html");
  document.getElementById("kept").innerHTML = whole.getElementById("kept").innerHTML;
  const fresh = whole.querySelectorAll(".experiments > li");
  page.querySelectorAll(".experiments > li").forEach((item, i) => {
    item.className = fresh[i]?.className ?? "";
    item.querySelector(".standing").textContent = fresh[i]?.querySelector(".standing").textContent ?? "";
  });
}

page.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-run]");
  if (!button || job && running.hidden === false) return;
  event.preventDefault();
  try {
    const names = button.dataset.run ? [button.dataset.run] : [];
    job = (await ask(base, { names, engine: document.getElementById("engines").elements.engine.value })).job;
    result.replaceChildren();
    await watch();
  } catch (refusal) {
    heard(refusal);
    busy(false);
  }
});
cancel.addEventListener("click", async () => {
  cancel.disabled = true;
  line.textContent = word("trial.cancelling");
  try { await ask(`/trials/${job}/cancel`, {}); } catch (refusal) { heard(refusal); }
});
page.addEventListener("submit", (event) => event.preventDefault());

page.dataset.ready = "yes";
if (page.dataset.running) {
  job = page.dataset.running;
  watch();
}
