// Test points: what stands in their table, shown at the ring on the sheet while it is pointed at or in focus.
const SVG = "http://www.w3.org/2000/svg";
const REACH = 11; // drawing units about a ring that count as the ring

const cell = (row, name) => row.querySelector(`[data-of="${name}"]`)?.textContent.trim() ?? "";

function lines(body) {
  return [...body.rows].slice(1).map((row) => [cell(row, "state"), [cell(row, "dc"), cell(row, "ripple") && `${cell(row, "ripple")} ⇕`, cell(row, "waveform")].filter(Boolean).join(", ")]);
}

let points; // one for each page

export function dress(place, view, boxOf) {
  points ??= new Points(place.ownerDocument, view, boxOf);
  points.dress(place);
}

class Points {
  constructor(root, view, boxOf) {
    this.view = view;
    this.boxOf = boxOf;
    root.addEventListener("pointerover", (event) => this.at(event, (ring) => this.show(ring)));
    root.addEventListener("pointerout", (event) => this.at(event, (ring) => { if (ring !== document.activeElement) this.hide(); }));
    root.addEventListener("focusin", (event) => this.at(event, (ring) => { this.bring(ring.closest("figure"), ring.getBBox()); this.show(ring); }));
    root.addEventListener("focusout", (event) => this.at(event, () => this.hide()));
    root.addEventListener("keydown", (event) => { if (event.key === "Escape" && this.tip?.isConnected) { this.hide(); event.stopPropagation(); } }, true);
    root.addEventListener("click", (event) => this.click(event));
  }

  bring(figure, box) { // moves what is in view so far that a box lies in it
    const [x, y, width, height] = this.boxOf(figure);
    if (box.x < x || box.x + box.width > x + width || box.y < y || box.y + box.height > y + height) this.view(figure, [box.x + box.width / 2 - width / 2, box.y + box.height / 2 - height / 2, width, height]);
  }

  at(event, act) {
    const ring = event.target.closest?.(".reach");
    if (ring) act(ring);
  }

  body(place, name) { return place?.querySelector(`[data-point-row="${CSS.escape(name)}"]`); }

  dress(place) { // a wider ring over each, to point at and to step to
    for (const ring of place.querySelectorAll("circle.open[data-point]")) {
      const body = this.body(place, ring.dataset.point);
      if (!body) continue;
      const reach = document.createElementNS(SVG, "circle");
      for (const name of ["cx", "cy"]) reach.setAttribute(name, ring.getAttribute(name));
      reach.setAttribute("r", REACH);
      reach.setAttribute("class", "reach");
      reach.setAttribute("tabindex", "0");
      reach.setAttribute("role", "img");
      reach.setAttribute("aria-label", [ring.dataset.point, body.querySelector(".what").textContent, ...lines(body).map(([state, read]) => `${state}: ${read}`)].join(". "));
      reach.dataset.of = ring.dataset.point;
      ring.after(reach);
    }
  }

  show(ring) {
    const figure = ring.closest("figure"), body = this.body(ring.closest("[data-circuit]"), ring.dataset.of);
    if (!body) return;
    this.hide();
    this.tip = Object.assign(document.createElement("div"), { className: "pointtip" });
    this.tip.setAttribute("aria-hidden", "true"); // the ring's own label says it
    const title = document.createElement("b");
    title.textContent = ring.dataset.of;
    this.tip.append(title, ` ${body.querySelector(".what").textContent}`);
    const list = document.createElement("dl");
    for (const [state, read] of lines(body)) {
      for (const [tag, words] of [["dt", state], ["dd", read]]) list.appendChild(document.createElement(tag)).textContent = words;
    }
    this.tip.append(list);
    figure.append(this.tip);
    ring.previousElementSibling?.classList.add("lit");
    body.classList.add("lit");
    const around = figure.getBoundingClientRect(), spot = ring.getBoundingClientRect();
    const below = spot.bottom - around.top + 6, above = spot.top - around.top - 6 - this.tip.offsetHeight;
    const fits = spot.bottom + 6 + this.tip.offsetHeight <= innerHeight || spot.top - 6 - this.tip.offsetHeight < 0;
    this.tip.style.top = `${fits ? below : above}px`;
    this.tip.style.left = `${Math.max(0, Math.min(spot.left - around.left, around.width - this.tip.offsetWidth))}px`;
  }

  hide() {
    const figure = this.tip?.closest("[data-circuit]");
    this.tip?.remove();
    for (const lit of figure?.querySelectorAll("circle.open.lit,[data-point-row].lit") ?? []) lit.classList.remove("lit");
  }

  click(event) {
    const row = event.target.closest("[data-show-point]"), ring = event.target.closest?.(".reach");
    if (row) {
      const drawn = row.closest("[data-circuit]").querySelector(`.reach[data-of="${CSS.escape(row.dataset.showPoint)}"]`);
      drawn?.closest("figure").scrollIntoView({ block: "nearest" });
      drawn?.focus({ preventScroll: true });
    } else if (ring) {
      ring.focus({ preventScroll: true });
      const body = this.body(ring.closest("[data-circuit]"), ring.dataset.of);
      if (body?.closest("details").open) body.scrollIntoView({ block: "nearest" });
    }
  }
}
