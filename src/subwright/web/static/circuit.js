// Circuit diagrams: fetched when they come into sight, zoomed, moved, and tied to their parts both ways.
import { ask, told, word, heard } from "./talk.js";
import { enlarge } from "./plot.js";

const LEAST = 60; // drawing units across: a single part
const sheets = new Map(); // key of a sheet → what is in view, kept when the page is drawn anew

function frame(figure) {
  const svg = figure.querySelector(".canvas svg");
  figure._whole ??= svg.getAttribute("viewBox").split(" ").map(Number);
  return svg;
}

function view(figure, box) {
  const svg = frame(figure), [wx, wy, ww, wh] = figure._whole;
  const width = Math.min(Math.max(box[2], LEAST), ww), height = width * wh / ww;
  const x = Math.min(Math.max(box[0], wx), wx + ww - width), y = Math.min(Math.max(box[1], wy), wy + wh - height);
  figure._box = [x, y, width, height];
  svg.setAttribute("viewBox", figure._box.map((v) => v.toFixed(2)).join(" "));
  figure.querySelector("output").textContent = width < ww - 1 ? `${Math.round(100 * ww / width)} %` : "";
  figure.classList.toggle("near", width < ww - 1);
  sheets.set(figure.dataset.sheet, figure._box);
}

const boxOf = (figure) => { frame(figure); return figure._box ?? figure._whole; };

function zoom(figure, factor, at) {
  const [x, y, width, height] = boxOf(figure);
  const [px, py] = at ?? [x + width / 2, y + height / 2];
  view(figure, [px - (px - x) / factor, py - (py - y) / factor, width / factor, height / factor]);
}

function point(figure, event) {
  const svg = frame(figure);
  const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return [p.x, p.y];
}

// a unit's pieces: U201 is drawn as U201A and U201B
const same = (drawn, name) => drawn === name || (drawn.startsWith(name) && /^[A-Z]$/.test(drawn.slice(name.length)));

function light(root, names, show) {
  const lit = [];
  for (const part of root.querySelectorAll("[data-part]")) {
    const on = names.some((name) => same(part.dataset.part, name));
    part.classList.toggle("lit", on);
    if (on) lit.push(part);
  }
  for (const row of root.querySelectorAll("[data-parts]")) {
    const own = row.dataset.parts.split(" ").filter(Boolean);
    const on = own.some((name) => names.some((other) => same(other, name) || same(name, other)));
    row.classList.toggle("lit", on);
    row.querySelector("[data-lit]")?.setAttribute("aria-pressed", String(on));
  }
  if (!show || !lit.length) return;
  const figure = lit[0].closest("figure"), boxes = lit.filter((part) => part.closest("figure") === figure).map((part) => part.getBBox());
  const left = Math.min(...boxes.map((b) => b.x)), right = Math.max(...boxes.map((b) => b.x + b.width));
  const top = Math.min(...boxes.map((b) => b.y)), bottom = Math.max(...boxes.map((b) => b.y + b.height));
  const [x, y, width, height] = boxOf(figure);
  figure.scrollIntoView({ block: "nearest" });
  if (left < x || right > x + width || top < y || bottom > y + height) view(figure, [(left + right - width) / 2, (top + bottom - height) / 2, width, height]);
}

export class Circuits {
  constructor(root, base, take) {
    this.root = root;
    this.base = base;
    this.take = take;
    this.near = new IntersectionObserver((seen) => {
      for (const one of seen) if (one.isIntersecting) { this.near.unobserve(one.target); this.fetch(one.target); }
    }, { rootMargin: "300px" });
    root.addEventListener("click", (event) => this.click(event));
    root.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    root.addEventListener("pointerdown", (event) => this.down(event));
    root.addEventListener("pointermove", (event) => this.move(event));
    for (const kind of ["pointerup", "pointercancel"]) root.addEventListener(kind, (event) => this.up(event));
    root.addEventListener("dblclick", (event) => {
      const figure = this.figure(event);
      if (figure) zoom(figure, 2, point(figure, event));
    });
    root.addEventListener("keydown", (event) => this.key(event));
    this.fingers = new Map();
  }

  watch() {
    this.near.disconnect();
    for (const place of this.root.querySelectorAll("[data-circuit]")) this.near.observe(place);
  }

  async fetch(place) {
    try {
      place.innerHTML = await ask(`${this.base}/circuit/${place.dataset.circuit}`, undefined, "text");
      for (const figure of place.querySelectorAll("figure.schematic")) {
        const kept = sheets.get(figure.dataset.sheet);
        if (kept) view(figure, kept);
      }
      if (place.querySelector("[data-point-row]")) (await import("./points.js")).dress(place, view, boxOf);
      place.dataset.there = "yes";
    } catch (refusal) {
      if (refusal.status) place.textContent = told(refusal.error);
    }
  }

  figure(event) { return event.target.closest?.(".canvas")?.closest("figure.schematic"); }

  click(event) {
    const at = (selector) => event.target.closest(selector);
    const tool = at("[data-zoom]"), row = at("[data-lit]"), place = at("[data-circuit]");
    if (tool) {
      const figure = tool.closest("figure");
      if (tool.dataset.zoom === "in") zoom(figure, 1.5);
      else if (tool.dataset.zoom === "out") zoom(figure, 1 / 1.5);
      else if (tool.dataset.zoom === "fit") view(figure, (frame(figure), figure._whole));
      else this.large(figure, tool);
    } else if (row) {
      const on = row.getAttribute("aria-pressed") !== "true";
      light(place, on ? row.closest("[data-parts]").dataset.parts.split(" ") : [], true);
    } else if (this.figure(event) && !this.dragged) {
      const part = at("[data-part]");
      light(place, part ? [part.dataset.part] : [], false);
      place.querySelector(".partlist li.lit")?.scrollIntoView({ block: "nearest" });
    } else if (at("[data-without]")) this.without(at("[data-without]"));
    else if (at("[data-shut-answer]")) at(".answer").replaceChildren();
    else if (at("[data-put-key]")) this.take(at("[data-put-key]").dataset.putKey, at("[data-put-key]").dataset.putValue);
  }

  large(figure, tool) {
    enlarge(tool);
    figure.querySelector(".canvas").focus({ preventScroll: true });
  }

  async without(asked) {
    const place = asked.closest("li").querySelector(".answer");
    if (place.hasChildNodes()) { place.replaceChildren(); asked.setAttribute("aria-expanded", "false"); return; }
    place.textContent = word("designing");
    try {
      place.innerHTML = await ask(`${this.base}/without?${new URLSearchParams({ part: asked.dataset.without })}`, undefined, "text");
      asked.setAttribute("aria-expanded", "true");
    } catch (refusal) {
      place.replaceChildren();
      heard(refusal);
    }
  }

  wheel(event) {
    const figure = this.figure(event);
    if (!figure || !(event.ctrlKey || event.metaKey || figure.classList.contains("large"))) return;
    event.preventDefault(); // the page scrolls by the wheel alone; with Ctrl, or large, the sheet zooms
    zoom(figure, Math.exp(-event.deltaY / 400), point(figure, event));
  }

  down(event) {
    const figure = this.figure(event);
    this.dragged = false;
    if (!figure || event.button !== 0) return;
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    this.held = figure;
  }

  move(event) {
    const figure = this.figure(event), part = figure && event.target.closest("[data-part]");
    if (event.pointerType === "mouse" && figure) figure.querySelector(".canvas").title = part?.dataset.part ?? "";
    const before = this.fingers.get(event.pointerId);
    if (!before || !this.held) return;
    const [x, y, width, height] = boxOf(this.held), scale = width / frame(this.held).getBoundingClientRect().width;
    const others = [...this.fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
    const far = Math.hypot(event.clientX - before[0], event.clientY - before[1]);
    if (others.length === 1) {
      const was = Math.hypot(before[0] - others[0][0], before[1] - others[0][1]), is = Math.hypot(event.clientX - others[0][0], event.clientY - others[0][1]);
      zoom(this.held, is / Math.max(was, 1), point(this.held, { clientX: (event.clientX + others[0][0]) / 2, clientY: (event.clientY + others[0][1]) / 2 }));
      this.dragged = true;
    } else if (this.held.classList.contains("near") && (far > 3 || this.dragged)) {
      view(this.held, [x - (event.clientX - before[0]) * scale, y - (event.clientY - before[1]) * scale, width, height]);
      this.dragged = true;
    } else return;
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
  }

  up(event) {
    this.fingers.delete(event.pointerId);
    if (!this.fingers.size) this.held = undefined;
  }

  key(event) {
    const figure = this.figure(event);
    if (!figure) return;
    const [x, y, width, height] = boxOf(figure), step = width / 8;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (event.key === "+" || event.key === "=") zoom(figure, 1.5);
    else if (event.key === "-") zoom(figure, 1 / 1.5);
    else if (event.key === "0") view(figure, figure._whole);
    else if (moves[event.key] && figure.classList.contains("near")) view(figure, [x + moves[event.key][0], y + moves[event.key][1], width, height]);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }
}
