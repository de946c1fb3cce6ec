// @ts-check
// Lanes of states: contacts, drive, outlet, alarms, permits, what the leg does.

/** @typedef {import("./plots.js").View} View */
/** @typedef {[number, number, string, string]} Part from, to in microseconds, class, words */
/** @typedef {{ name: string, parts: Part[] }} Strip */
/** @typedef {{ title: string, keys: [string, string][], strips: Strip[] }} Strips */

const SVG = "http://www.w3.org/2000/svg";

export class StripLane {
  /** @param {HTMLElement} root @param {Strips} strips @param {number} base */
  constructor(root, strips, base) {
    this.base = base;
    const lane = document.createElement("div");
    lane.className = "lane";
    const title = document.createElement("p");
    title.className = "lane-title";
    const bold = document.createElement("b");
    bold.textContent = strips.title;
    title.append(bold);
    for (const [look, words] of strips.keys) {
      const key = document.createElement("span");
      key.className = `key k-${look}`;
      key.textContent = words;
      title.append(" ", key);
    }
    lane.append(title);
    this.rows = strips.strips.map((strip) => {
      const row = document.createElement("div");
      row.className = "strip";
      const name = document.createElement("span");
      name.className = "strip-name";
      const value = document.createElement("output");
      name.append(`${strip.name} `, value);
      const bar = document.createElement("div");
      bar.className = "bar";
      row.append(name, bar);
      lane.append(row);
      return { strip, bar, value };
    });
    root.append(lane);
  }

  /** @param {View} view @param {number} width in pixels */
  draw(view, width) {
    const x = (/** @type {number} */ us) => (((us - this.base) / 1e6 - view.from) / (view.to - view.from)) * width;
    for (const { strip, bar } of this.rows) {
      const svg = document.createElementNS(SVG, "svg");
      svg.setAttribute("aria-hidden", "true");
      const words = [];
      for (const [from, to, look, told] of strip.parts) {
        const left = Math.max(x(from), -2);
        const right = Math.min(x(to), width + 2);
        if (right < 0 || left > width) continue;
        const rect = document.createElementNS(SVG, "rect");
        rect.setAttribute("class", `p-${look}`);
        rect.setAttribute("x", left.toFixed(1));
        rect.setAttribute("width", Math.max(right - left, 1.5).toFixed(1));
        rect.setAttribute("height", "100%");
        svg.append(rect);
        if (right - left > 70) {
          const word = document.createElement("span");
          word.className = "bar-word";
          word.style.left = `${Math.max(left, 0)}px`;
          word.style.width = `${right - left}px`;
          word.textContent = told;
          words.push(word);
        }
      }
      bar.replaceChildren(svg, ...words);
    }
  }

  /** Say what each strip says at a time. @param {number} time in seconds from the base */
  tell(time) {
    const us = this.base + time * 1e6;
    for (const { strip, value } of this.rows) {
      const part = strip.parts.findLast(([from, to]) => from <= us && us < to);
      value.textContent = part ? part[3] : "";
    }
  }
}
