// The list of builds: figures that are still being worked out are put in as they come.
import { ask, heard } from "./talk.js";

const line = document.getElementById("figuring");
const bar = document.getElementById("figured");
const missing = () => [...document.querySelectorAll("[data-glance][aria-busy=true]")];

function told() {
  const done = bar.max - missing().length;
  bar.value = done;
  line.querySelector("output").textContent = `${done} / ${bar.max}`;
  line.hidden = !missing().length;
}

async function follow() {
  while (missing().length) {
    const found = await ask("/builds/glance", { names: missing().map((place) => place.dataset.glance) });
    for (const place of missing()) {
      const html = found[place.dataset.glance];
      if (html === undefined) continue;
      place.innerHTML = html;
      place.removeAttribute("aria-busy");
    }
    told();
  }
}

if (bar) follow().catch((refusal) => { line.hidden = true; heard(refusal, 8); });
