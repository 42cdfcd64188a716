// The folder's pages: taking files in, drawers, the guided start.
import { ask, say, told, word, heard } from "./talk.js";

const took = document.getElementById("took");
const tell = (refusal) => {
  if (!refusal.status) return;
  took.replaceChildren();
  const line = document.createElement("p");
  line.className = "stopbox";
  line.setAttribute("role", "alert");
  line.textContent = told(refusal.error);
  took.append(line);
  line.scrollIntoView({ block: "nearest" });
};

const zone = document.getElementById("take-in");
async function takeIn(file) {
  if (!file) return;
  try {
    const made = await ask(`/take-in?file=${encodeURIComponent(file.name)}`, await file.text());
    location.href = made.drawer ? `/drawer/${encodeURIComponent(made.drawer)}` : `/b/${encodeURIComponent(made.name)}`;
  } catch (refusal) { tell(refusal); }
}
zone?.addEventListener("change", (event) => takeIn(event.target.files[0]));
for (const kind of ["dragover", "dragleave", "drop"]) {
  zone?.addEventListener(kind, (event) => {
    event.preventDefault();
    zone.classList.toggle("over", kind === "dragover");
    if (kind === "drop") takeIn(event.dataTransfer.files[0]);
  });
}

async function act(path, body, then) {
  try { then(await ask(path, body)); } catch (refusal) { heard(refusal); }
}
document.addEventListener("submit", (event) => {
  const rename = event.target.closest("form[data-rename]"), remove = event.target.closest("form[data-remove]");
  if (!rename && !remove) return;
  event.preventDefault();
  const name = rename?.dataset.rename ?? remove.dataset.remove, path = `/b/${encodeURIComponent(name)}`;
  if (rename) act(`${path}/rename`, { title: rename.elements.title.value }, () => location.reload());
  else act(`${path}/remove`, {}, ({ key }) => {
    remove.closest("li").remove();
    say(word("aside done"), [[word("bring back"), () => act("/aside/back", { key }, () => location.reload())]]);
  });
});
document.addEventListener("click", (event) => {
  const back = event.target.closest("[data-back]");
  if (back) act("/aside/back", { key: back.dataset.back }, ({ name }) => { location.href = `/b/${encodeURIComponent(name)}`; });
});

document.getElementById("new-drawer")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const made = await ask("/drawer", { title: event.target.elements.title.value });
    location.href = `/drawer/${encodeURIComponent(made.file)}`;
  } catch (refusal) { tell(refusal); }
});

const drawer = document.getElementById("drawer");
if (drawer) {
  const path = `/drawer/${encodeURIComponent(drawer.dataset.file)}`;
  const stock = document.getElementById("stock");
  const put = async (part, quantity) => {
    try {
      stock.innerHTML = await ask(path, { part, quantity }, "text");
      took.replaceChildren();
    } catch (refusal) { tell(refusal); }
  };
  stock.addEventListener("change", (event) => put(event.target.form.dataset.stock, Number(event.target.value)));
  stock.addEventListener("submit", (event) => event.preventDefault());
  document.getElementById("find").addEventListener("submit", async (event) => {
    event.preventDefault();
    const wish = new URLSearchParams(new FormData(event.target));
    document.getElementById("found").innerHTML = await ask(`${path}/parts?${wish}`, undefined, "text");
  });
  document.getElementById("found").addEventListener("click", async (event) => {
    const button = event.target.closest("[data-put]");
    if (!button) return;
    const have = Number(button.dataset.have) + 1;
    await put(button.dataset.put, have);
    button.dataset.have = have;
  });
}

const guided = document.getElementById("guided");
if (guided) {
  const fit = () => {
    for (const part of guided.querySelectorAll("[data-when]")) {
      const [name, values] = part.dataset.when.split("=");  // no value after the "=": the empty answer
      part.hidden = !values.split(",").includes(guided.elements[name].value);
    }
  };
  guided.addEventListener("change", fit);
  fit();
  guided.addEventListener("submit", async (event) => {
    event.preventDefault();
    const answers = Object.fromEntries(new FormData(guided));
    answers.parts = {};
    answers.sheet = {};
    answers.radiator = {};
    if (!answers.driver) {
      for (const input of guided.querySelectorAll("[data-sheet]")) answers.sheet[input.dataset.sheet] = input.value;
    }
    if (answers.box === "passive-radiator") {
      for (const input of guided.querySelectorAll("[data-radiator]")) answers.radiator[input.dataset.radiator] = input.value;
    }
    for (const input of guided.querySelectorAll("[data-part]")) {
      if (Number(input.value) > 0) answers.parts[input.dataset.part] = Number(input.value);
    }
    const slow = setTimeout(() => say(word("designing")), 300);
    try {
      const made = await ask("/new", answers);
      location.href = `/b/${encodeURIComponent(made.name)}`;
    } catch (refusal) {
      clearTimeout(slow);
      tell(refusal);
    }
  });
}
