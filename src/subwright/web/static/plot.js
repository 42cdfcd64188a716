// Plots: a cursor that reads every curve, zoom by dragging, the whole plot again.
import { ask, word, heard } from "./talk.js";

const NS = "http://www.w3.org/2000/svg";

function axis(text) {
  const [scale, low, high, ...unit] = text.split(" ");
  return { log: scale === "log", low: +low, high: +high, unit: unit.join(" ") };
}

function value(ax, share) {
  return ax.log ? ax.low * (ax.high / ax.low) ** share : ax.low + share * (ax.high - ax.low);
}

function frameOf(figure) {
  const inner = figure.querySelector("svg svg[data-x]");
  const box = ["x", "y", "width", "height"].map((name) => inner[name].baseVal.value);
  return { inner, left: box[0], top: box[1], width: box[2], height: box[3], x: axis(inner.dataset.x), y: axis(inner.dataset.y) };
}

function digits(number, unit) {
  const text = Math.abs(number) >= 1000 ? number.toFixed(0) : Number(number.toPrecision(3)).toString();
  return unit ? `${text} ${unit}` : text;
}

function across(line, at) {
  const points = line.points;
  for (let i = 1; i < points.numberOfItems; i += 1) {
    const a = points.getItem(i - 1), b = points.getItem(i);
    if (a.x <= at && at <= b.x) return a.y + ((b.y - a.y) * (at - a.x)) / (b.x - a.x || 1);
  }
  return null;
}

function put(figure, at) {
  const f = frameOf(figure);
  const x = Math.min(Math.max(at, f.left), f.left + f.width);
  figure._at = x;
  let line = f.inner.querySelector(".cursor");
  if (!line) {
    line = document.createElementNS(NS, "path");
    line.setAttribute("class", "cursor");
    f.inner.append(line);
  }
  line.setAttribute("d", `M${x} ${f.top}V${f.top + f.height}`);
  const said = [digits(value(f.x, (x - f.left) / f.width), f.x.unit)];
  for (const curve of f.inner.querySelectorAll("polyline[data-of]")) {
    const y = across(curve, x);
    if (y !== null) said.push(`${curve.dataset.of} ${digits(value(f.y, 1 - (y - f.top) / f.height), f.y.unit)}`);
  }
  figure.querySelector("output").textContent = said.join(" · ");
}

function place(figure, event) {
  const svg = figure.querySelector("svg");
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return point.x;
}

function band(figure, from, to) {
  const f = frameOf(figure);
  let area = f.inner.querySelector(".drag");
  if (!area) {
    area = document.createElementNS(NS, "rect");
    area.setAttribute("class", "drag");
    f.inner.prepend(area);
  }
  area.setAttribute("x", Math.min(from, to));
  area.setAttribute("y", f.top);
  area.setAttribute("width", Math.abs(to - from));
  area.setAttribute("height", f.height);
}

export function enlarge(tool) {
  const on = tool.closest("figure").classList.toggle("large");
  tool.textContent = word(on ? "small" : "large");
  tool.setAttribute("aria-expanded", String(on));
}

const LETTERS = 15; // px: the page's letters when a drawing's are as large as they were drawn
const BIGGER = 1.3; // letters of a plot that fills the window

// How wide a place is, in a plot's own units: so its letters grow with the page's, never with its width.
export function unitsOf(px) {
  return Math.round(px * LETTERS / parseFloat(getComputedStyle(document.documentElement).fontSize));
}

// What a plot of a sheet will get: asked before the sheet is there.
export const placeFor = (root) => unitsOf(root.clientWidth - 2);

export class Plots {
  constructor(root, base, moment) {
    this.base = base;
    this.moment = moment;
    root.addEventListener("pointermove", (event) => this.move(event));
    root.addEventListener("pointerdown", (event) => this.down(event));
    root.addEventListener("pointerup", (event) => this.up(event));
    root.addEventListener("dblclick", (event) => this.whole(event.target.closest("[data-plot]")));
    root.addEventListener("keydown", (event) => this.key(event));
    root.addEventListener("click", (event) => {
      if (event.target.closest("[data-whole]")) this.whole(event.target.closest("[data-plot]"));
      const still = event.target.closest("figure:not([data-plot]):not(.schematic):not(.large) .canvas");
      if (still) still.closest("figure").querySelector("[data-large]")?.click(); // letters are small there
      if (event.target.matches("[data-large]")) {
        enlarge(event.target);
        const figure = event.target.closest("[data-plot]");
        if (figure) this.draw(figure);
      }
    });
    new ResizeObserver(() => {
      clearTimeout(this.later);
      this.later = setTimeout(() => this.fit(root), 120);
    }).observe(root);
    root.addEventListener("change", (event) => {
      if (event.target.matches("[data-band]")) this.draw(event.target.closest("[data-plot]"));
    });
  }

  figure(event) { return event.target.closest(".canvas")?.closest("[data-plot]"); }

  move(event) {
    const figure = this.figure(event);
    if (!figure) return;
    const at = place(figure, event);
    put(figure, at);
    if (figure._from !== undefined) band(figure, figure._from, at);
  }

  down(event) {
    const figure = this.figure(event);
    if (figure && event.button === 0) figure._from = place(figure, event);
  }

  up(event) {
    const figure = this.figure(event);
    if (!figure || figure._from === undefined) return;
    const from = figure._from, to = place(figure, event);
    figure._from = undefined;
    figure.querySelector(".drag")?.remove();
    if (Math.abs(to - from) < 8) return;
    this.zoom(figure, Math.min(from, to), Math.max(from, to));
  }

  zoom(figure, left, right) {
    const f = frameOf(figure);
    const at = (x) => value(f.x, Math.min(Math.max((x - f.left) / f.width, 0), 1));
    figure._range = [at(left), at(right)];
    this.draw(figure);
  }

  whole(figure) {
    if (!figure) return;
    figure._range = undefined;
    this.draw(figure);
  }

  key(event) {
    const figure = this.figure(event);
    if (!figure) return;
    const f = frameOf(figure), at = figure._at ?? f.left + f.width / 2;
    const step = f.width / (event.shiftKey ? 10 : 100);
    if (event.key === "ArrowLeft") put(figure, at - step);
    else if (event.key === "ArrowRight") put(figure, at + step);
    else if (event.key === "+") this.zoom(figure, at - f.width / 4, at + f.width / 4);
    else if (event.key === "0" || event.key === "-") this.whole(figure);
    else return;
    event.preventDefault();
  }

  wide(figure) {
    const large = figure.classList.contains("large");
    return Math.round(unitsOf(figure.querySelector(".canvas").clientWidth) / (large ? BIGGER : 1));
  }

  // Lay out anew those plots whose place has got another width.
  fit(root) {
    for (const figure of root.querySelectorAll("[data-plot]")) {
      const wide = this.wide(figure), drawn = figure.querySelector(".canvas svg")?.viewBox.baseVal.width;
      if (wide > 0 && drawn && Math.abs(wide - drawn) > 0.04 * wide) this.draw(figure);
    }
  }

  async draw(figure) {
    const wish = new URLSearchParams({ wide: this.wide(figure) });
    if (figure._range) {
      wish.set("x_low", figure._range[0]);
      wish.set("x_high", figure._range[1]);
    }
    const bandBox = figure.querySelector("[data-band]");
    if (bandBox && !bandBox.checked) wish.set("band", "false");
    const { pin, emf } = this.moment();
    if (pin) wish.set("pin", pin);
    if (emf && figure.hasAttribute("data-battery")) wish.set("emf", emf);
    try {
      const from = figure.dataset.from ?? `${this.base}/plot/${figure.dataset.plot}`;
      const svg = await ask(`${from}?${wish}`, undefined, "text");
      figure.querySelector(".canvas").innerHTML = svg;
      figure.querySelector("[data-whole]").hidden = !figure._range;
      if (figure._at !== undefined) put(figure, figure._at);
    } catch (refusal) {
      heard(refusal, 8);
    }
  }

  all(root, batteryOnly = false) {
    for (const figure of root.querySelectorAll(batteryOnly ? "[data-plot][data-battery]" : "[data-plot]")) this.draw(figure);
  }
}
