// Work that the server does for a page: begun there, watched until it is over, cancelled.
import { ask, say, told, word, heard } from "./talk.js";

const running = document.getElementById("running");
const bar = running.querySelector("progress");
const line = running.querySelector("output");
const cancel = document.getElementById("cancel");

export class Work {
  // `at`: where its jobs are asked for; `buttons`: what begins one; `ending`: the word while one is cancelled.
  constructor(page, at, buttons, ending) {
    Object.assign(this, { page, at, buttons, job: "" });
    cancel.addEventListener("click", async () => {
      cancel.disabled = true;
      line.textContent = word(ending);
      try { await ask(`${at}/${this.job}/cancel`, {}); } catch (refusal) { heard(refusal); }
    });
  }

  get busy() { return !running.hidden; }
  set busy(state) {
    running.hidden = !state;
    for (const button of this.page.querySelectorAll(this.buttons)) button.disabled = state;
  }

  // Ask for a job, say that it has `begun`, and watch it; a refusal is told.
  async begin(base, wish, over, begun = () => {}) {
    try {
      this.job = (await ask(base, wish)).job;
      begun();
      await this.watch(over);
    } catch (refusal) {
      heard(refusal);
      this.busy = false;
    }
  }

  // Show how far the job is until it is over, then call `over` with its last answer.
  async watch(over) {
    this.busy = true;
    cancel.disabled = false;
    running.scrollIntoView({ block: "nearest" });
    for (;;) {
      let now;
      try {
        now = await ask(`${this.at}/${this.job}`);
      } catch (refusal) {
        if (refusal.status) { say(told(refusal.error)); break; }
        await new Promise((done) => setTimeout(done, 2000)); // the server may come back, the work does not
        continue;
      }
      bar.value = now.share;
      line.textContent = `${Math.round(100 * now.share)} % · ${now.seconds.toFixed(1)} ${word("trial.seconds")} · ${now.doing}`;
      if (now.over) {
        await over(now);
        break;
      }
      await new Promise((done) => setTimeout(done, 250));
    }
    this.busy = false;
  }
}
