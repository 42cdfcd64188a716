// Simulations: begun here, watched while they run, cancelled, and shown when they are over.
import { ask, say, told, word } from "./talk.js";
import { Plots, placeFor } from "./plot.js";
import { Work } from "./work.js";

const page = document.getElementById("trials");
const base = `/b/${encodeURIComponent(page.dataset.name)}/trials`;
const result = document.getElementById("result");
const work = new Work(page, "/trials", "[data-run]", "trial.cancelling");
new Plots(result, "", () => ({}));

async function over(now) {
  if (now.cancelled) say(word("trial.cancelled"));
  else if (now.error) say(told(now.error));
  else await show();
  await kept();
}

async function show() {
  result.innerHTML = await ask(`/trials/${work.job}/result?wide=${placeFor(result)}`, undefined, "text");
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

page.addEventListener("click", (event) => {
  const button = event.target.closest("[data-run]");
  if (!button || work.busy) return;
  event.preventDefault();
  const names = button.dataset.run ? [button.dataset.run] : [];
  const engine = document.getElementById("engines").elements.engine.value;
  work.begin(base, { names, engine }, over, () => result.replaceChildren());
});
page.addEventListener("submit", (event) => event.preventDefault());

page.dataset.ready = "yes";
if (page.dataset.running) {
  work.job = page.dataset.running;
  work.watch(over);
}
