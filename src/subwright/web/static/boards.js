// Boards: begun here, watched while they are placed and routed, shown when they are done.
import { ask, say, told, word } from "./talk.js";
import { Circuits } from "./circuit.js";
import { Work } from "./work.js";

const page = document.getElementById("boards");
const base = `/b/${encodeURIComponent(page.dataset.name)}/boards`;
const work = new Work(page, "/boards", "[data-make]", "board.ending");
new Circuits(document.getElementById("made"), base, () => {});

async function over(now) {
  if (now.cancelled) say(word("board.cancelled"));
  else if (now.error) say(told(now.error));
  else if (now.failed.length) say(`${word("board.failed")} ${now.failed.join("; ")}`);
  const whole = new DOMParser().parseFromString(await ask(base, undefined, "text"), "text/html");
  for (const id of ["state", "made"]) document.getElementById(id).innerHTML = whole.getElementById(id).innerHTML;
}

page.addEventListener("click", (event) => {
  const button = event.target.closest("[data-make]");
  if (button && !work.busy) work.begin(base, { keys: button.dataset.make ? [button.dataset.make] : [] }, over);
});

page.dataset.ready = "yes";
if (page.dataset.running) {
  work.job = page.dataset.running;
  work.watch(over);
}
