// Talking to the server and to the reader.
const words = JSON.parse(document.getElementById("words").textContent);
const bubble = document.getElementById("talk");

export const word = (key) => words[key] ?? key;

export class Refusal extends Error {
  constructor(status, error) {
    super(error.message);
    this.status = status;
    this.error = error;
  }
}

export async function ask(path, body, as = "json", unanswered = null) {
  const asked = { headers: { "X-Workbench": "1" }, cache: "no-store" };
  if (body !== undefined) {
    asked.method = "POST";
    const raw = typeof body === "string" || body instanceof Blob;
    asked.headers["Content-Type"] = body instanceof Blob ? "application/octet-stream" : raw ? "text/plain" : "application/json";
    asked.body = raw ? body : JSON.stringify(body);
  }
  let answer, content;
  try {
    answer = await fetch(path, asked);
    const json = answer.ok ? as === "json" : (answer.headers.get("content-type") ?? "").includes("json");
    content = json ? await answer.json() : await answer.text();
  } catch { // none, or one cut short
    if (unanswered) unanswered();
    else say(word("no answer"), [[word("try again"), () => location.reload()]]);
    throw new Refusal(0, { message: word("no answer") });
  }
  if (!answer.ok) throw new Refusal(answer.status, content.error ?? { message: String(content) });
  return content;
}

export function say(text, choices = [], seconds = 0) {
  bubble.replaceChildren(text);
  for (const [name, act] of choices) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = name;
    button.addEventListener("click", () => { quiet(); act(); });
    bubble.append(button);
  }
  const close = document.createElement("button");
  close.type = "button";
  close.textContent = word("close");
  close.addEventListener("click", quiet);
  bubble.append(close);
  bubble.hidden = false;
  if (seconds) setTimeout(quiet, seconds * 1000);
  return bubble;
}

export function quiet() { bubble.hidden = true; }

export function told(error) {
  const facts = [error.quantity, error.value].filter(Boolean).join(" ");
  const limit = error.limit ? ` (${word("limit")} ${error.limit})` : "";
  const where = (error.problems ?? []).map((p) => p.message).filter((m) => m !== error.message);
  return [error.message, facts + limit, ...where, error.remedy].filter(Boolean).join(" · ");
}

// what a refused request says; no answer at all was said already
export function heard(refusal, seconds = 0) { if (refusal.status) say(told(refusal.error), [], seconds); }

const dialog = document.getElementById("page");

export function showPage(html) {
  dialog.innerHTML = html;
  if (!dialog.open) dialog.showModal();
  dialog.querySelector("input, button")?.focus();
}

dialog.addEventListener("click", (event) => {
  if (event.target === dialog || event.target.closest("[data-shut]")) dialog.close();
});

document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll("details.menu[open]")) if (!menu.contains(event.target)) menu.open = false;
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const large = document.querySelector("figure.large [aria-expanded]");
  if (large) {
    large.click();
    event.stopImmediatePropagation(); // what lies under it stays open
  }
  for (const menu of document.querySelectorAll("details.menu[open]")) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});

document.addEventListener("change", async (event) => {
  const wish = event.target.closest("[data-view]");
  if (!wish) return;
  await ask("/view", { name: wish.name, value: wish.value });
  location.reload();
});

document.addEventListener("submit", async (event) => {
  const form = event.target.closest("form[data-duplicate]");
  if (!form) return;
  event.preventDefault();
  const name = form.dataset.duplicate || document.getElementById("bench")?.dataset.name;
  try {
    const made = await ask(`/b/${encodeURIComponent(name)}/duplicate`, { title: form.elements.title.value });
    location.href = `/b/${encodeURIComponent(made.name)}`;
  } catch (refusal) {
    heard(refusal);
  }
});

export async function explain(code) {
  try {
    showPage(await ask(`/explain/${encodeURIComponent(code)}`, undefined, "text"));
  } catch (refusal) {
    heard(refusal);
  }
}
