// Trying without making: what would settle a check, and several changes side by side.
import { ask, word, heard } from "./talk.js";

const MOST = 3; // changes beside what the build is now
const place = document.getElementById("beside");

export class Trying {
  // `change` makes a change, `bad` tells a refusal at its field, `restore` sets a field back to what it says.
  constructor({ base, name, change, bad, restore }) {
    Object.assign(this, { base, change, bad, restore, shelf: `beside:${name}`, tried: [], turn: 0 });
    try { this.tried = JSON.parse(sessionStorage.getItem(this.shelf) ?? "[]"); } catch { /* it is kept on the page */ }
  }

  async click(target) {
    const at = (selector) => target.closest(selector);
    const put = at("[data-beside-key]"), taken = at("[data-take-key]"), drop = at("[data-aside]");
    if (at("[data-remedies]")) await this.remedies(at("[data-remedies]"));
    else if (at("[data-stop-trying]")) at(".answer")._stopped = true;
    else if (put) {
      const field = put.closest(".field"), one = [put.dataset.besideKey, put.dataset.besideValue];
      this.restore(field);
      field?.querySelector(".answer").replaceChildren(); // it stands in the table now
      this.tried = [...this.tried.filter((other) => other.join("=") !== one.join("=")), one].slice(-MOST);
      await this.beside(true);
    } else {
      if (taken && !await this.change("/set", { key: taken.dataset.takeKey, value: taken.dataset.takeValue })) return;
      if (!drop) return;
      this.tried.splice(Number(drop.dataset.aside), 1);
      await this.beside(true);
    }
  }

  // each input that a check's remedy names is tried in earnest, one after the other, until it is stopped
  async remedies(button) {
    const holder = button.closest("li, .stopbox"), answer = holder.querySelector(".answer");
    const { code, quantity, room } = button.dataset;
    const wish = new URLSearchParams({ code, quantity, ...(room && { room }) });
    const turn = answer._turn = {};
    answer._stopped = false;
    try {
      answer.innerHTML = await ask(`${this.base}/remedies?${wish}`, undefined, "text");
      for (const row of answer.querySelectorAll("[data-try-key]")) {
        if (answer._stopped) row.querySelector(".doing").textContent = word("remedy stopped");
        if (answer._stopped || answer._turn !== turn || !row.isConnected) continue;
        row.querySelector(".doing").textContent = word("designing");
        const key = new URLSearchParams({ key: row.dataset.tryKey });
        row.innerHTML = await ask(`${this.base}/remedy?${wish}&${key}`, undefined, "text");
      }
    } catch (refusal) {
      if (refusal.status) this.bad(holder, refusal.error);
    }
    answer.querySelector("[data-stop-trying]")?.remove();
  }

  // the table of what was put beside; an answer that another one overtook is not shown
  async beside(focus = false) {
    const turn = ++this.turn;
    try { sessionStorage.setItem(this.shelf, JSON.stringify(this.tried)); } catch { /* as above */ }
    if (!this.tried.length) {
      place.replaceChildren();
      return;
    }
    const wish = new URLSearchParams();
    for (const [key, value] of this.tried) {
      wish.append("key", key);
      wish.append("value", value);
    }
    try {
      const table = await ask(`${this.base}/beside?${wish}`, undefined, "text");
      if (turn !== this.turn) return;
      place.innerHTML = table;
    } catch (refusal) {
      heard(refusal, 8);
      return;
    }
    if (!focus) return;
    place.scrollIntoView({ block: "start" });
    place.querySelector("summary").focus({ preventScroll: true });
  }
}
