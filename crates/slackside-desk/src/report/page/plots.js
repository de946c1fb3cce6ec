// @ts-check
/// <reference path="vendor/uPlot.d.ts" />
// One lane of lines: the plot library draws axis and lines, from slots a pixel wide.
import { Column } from "./columns.js";
import { valueOf } from "./words.js";

/**
 * @typedef {object} Line
 * @property {number} column @property {string} name @property {string} unit
 * @property {number} per @property {number} scale @property {number} places
 */
/**
 * @typedef {object} Panel
 * @property {string} title @property {Line[]} lines @property {[number, number] | null} range
 * @property {{ at: number, words: string }[]} marks
 */
/** @typedef {{ from: number, to: number }} View seconds from the trip, or from the beginning where nothing tripped */

/** Room for the axis at the left of every lane, and at its right, in pixels. */
export const LEFT = 44;
export const RIGHT = 10;
const HEIGHT = 132;
/** Markers on a line are so far apart, in pixels. */
const APART = 110;
/** Dashes of the lines of a lane, in their order; markers go with them. */
const DASHES = [[], [9, 4], [2, 3], [12, 3, 2, 3]];

/** The look of a line, from the style sheet. @param {Element} element @param {string} name */
function colour(element, name) {
  return getComputedStyle(element).getPropertyValue(name).trim();
}

/** @param {CanvasRenderingContext2D} pen @param {number} kind @param {number} x @param {number} y @param {number} size */
function marker(pen, kind, x, y, size) {
  pen.beginPath();
  if (kind === 0) pen.arc(x, y, size, 0, 2 * Math.PI);
  else if (kind === 1) pen.rect(x - size, y - size, 2 * size, 2 * size);
  else if (kind === 2) {
    pen.moveTo(x, y - 1.3 * size);
    pen.lineTo(x + 1.2 * size, y + size);
    pen.lineTo(x - 1.2 * size, y + size);
    pen.closePath();
  } else {
    pen.moveTo(x, y - 1.4 * size);
    pen.lineTo(x + 1.4 * size, y);
    pen.lineTo(x, y + 1.4 * size);
    pen.lineTo(x - 1.4 * size, y);
    pen.closePath();
  }
  pen.fill();
}

export class Lane {
  /** @param {HTMLElement} root @param {Panel} panel @param {Column[]} columns */
  constructor(root, panel, columns) {
    this.panel = panel;
    this.columns = panel.lines.map((line) => columns[line.column]);
    this.element = document.createElement("div");
    this.element.className = "lane";
    const title = document.createElement("p");
    title.className = "lane-title";
    title.append(Object.assign(document.createElement("b"), { textContent: panel.title }));
    /** What each line says at the cursor. */
    this.values = panel.lines.map((line, at) => {
      const key = document.createElement("span");
      key.className = `key l${at}`;
      key.innerHTML = `<svg viewBox="0 0 28 10" aria-hidden="true"><path d="M1 5H27"/>${SHAPES[at % 4]}</svg>`;
      const value = document.createElement("output");
      key.append(`${line.name} `, value);
      title.append(" ", key);
      return value;
    });
    this.plot = document.createElement("div");
    this.plot.className = "live-plot";
    this.element.append(title, this.plot);
    root.append(this.element);
    /** @type {uPlot | null} */
    this.drawn = null;
    /** @type {number[]} */
    this.ticks = [];
    /** @type {Uint8Array[]} */
    this.open = [];
    /** @type {View} */
    this.view = { from: 0, to: 1 };
  }

  /** Begin anew: another width, or light turned dark. @param {number} width */
  lay(width) {
    this.drawn?.destroy();
    const element = this.element;
    const soft = colour(element, "--soft");
    this.drawn = new uPlot(
      {
        width,
        height: HEIGHT,
        padding: [8, RIGHT, 8, 0],
        legend: { show: false },
        cursor: { show: false },
        scales: {
          x: { time: false, range: () => [this.view.from, this.view.to] },
          y: { range: (_plot, least, most) => this.range(least, most) },
        },
        axes: [
          { show: false },
          { size: LEFT, stroke: soft, font: "12px sans-serif", gap: 4, ticks: { show: false }, grid: { stroke: colour(element, "--line"), width: 1 } },
        ],
        series: [
          {},
          ...this.panel.lines.map((_line, at) => ({
            stroke: colour(element, `--l${at}`),
            width: 1.75,
            dash: DASHES[at % 4],
            points: { show: false },
          })),
        ],
        hooks: { drawAxes: [(plot) => this.below(plot)], draw: [(plot) => this.above(plot)] },
      },
      undefined,
      this.plot,
    );
  }

  /** @param {number} least @param {number} most @returns {[number, number]} */
  range(least, most) {
    if (this.panel.range) return this.panel.range;
    const marks = this.panel.marks.map((mark) => mark.at);
    const [low, high] = [Math.min(least ?? 0, 0, ...marks), Math.max(most ?? 1, 1, ...marks)];
    return [low, high + (high - low) * 0.12];
  }

  /** Say what was known at a time. @param {number} time */
  tell(time) {
    this.panel.lines.forEach((line, at) => {
      this.values[at].textContent = valueOf(this.columns[at].at(time), line);
    });
  }

  /** Draw a stretch of time. @param {View} view @param {number[]} ticks */
  draw(view, ticks) {
    if (!this.drawn) return;
    this.view = view;
    this.ticks = ticks;
    const count = Math.max(Math.round(this.drawn.width - LEFT - RIGHT), 10);
    const width = (view.to - view.from) / count;
    const times = new Float64Array(2 * count);
    for (let slot = 0; slot < count; slot += 1) {
      times[2 * slot] = view.from + width * slot;
      times[2 * slot + 1] = view.from + width * (slot + 0.5);
    }
    this.open = [];
    const lines = this.columns.map((column, at) => {
      const slots = column.slots(view.from, view.to, count, this.panel.lines[at].scale);
      this.open.push(slots.open);
      /** @type {(number | null)[]} */
      const line = new Array(2 * count);
      let before = NaN;
      for (let slot = 0; slot < count; slot += 1) {
        const [low, high] = [slots.low[slot], slots.high[slot]];
        const known = low === low;
        // From where the pen is the nearer end comes first, so that a step is drawn as a step.
        const upwards = Math.abs(before - low) <= Math.abs(before - high);
        line[2 * slot] = known ? (upwards ? low : high) : null;
        line[2 * slot + 1] = known ? (upwards ? high : low) : null;
        before = upwards ? high : low;
      }
      return line;
    });
    this.drawn.setData(/** @type {any} */ ([times, ...lines]), true);
  }

  /** Behind the lines: upright grid, a foot where nothing was known, and where slip has no upper bound. @param {uPlot} plot */
  below(plot) {
    const { ctx: pen, bbox } = plot;
    pen.save();
    pen.strokeStyle = colour(this.element, "--line");
    pen.lineWidth = devicePixelRatio;
    for (const tick of this.ticks) {
      const x = Math.round(plot.valToPos(tick, "x", true));
      pen.beginPath();
      pen.moveTo(x, bbox.top);
      pen.lineTo(x, bbox.top + bbox.height);
      pen.stroke();
    }
    const [first, ...others] = /** @type {(number | null)[][]} */ (/** @type {unknown} */ (plot.data.slice(1)));
    const slot = bbox.width / (first?.length ?? 1);
    pen.fillStyle = colour(this.element, "--unknown");
    first?.forEach((value, at) => {
      if (value === null && others.every((other) => other[at] === null)) {
        pen.fillRect(bbox.left + slot * at, bbox.top + bbox.height - 6 * devicePixelRatio, slot + 0.5, 6 * devicePixelRatio);
      }
    });
    this.open.forEach((open, at) => {
      const data = /** @type {(number | null)[]} */ (/** @type {unknown} */ (plot.data[at + 1]));
      if (!data) return;
      pen.fillStyle = colour(this.element, `--l${at}`);
      pen.globalAlpha = 0.13;
      const wide = bbox.width / open.length;
      for (let slot = 0; slot < open.length; slot += 1) {
        const value = data[2 * slot];
        if (open[slot] !== 1 || value === null) continue;
        const y = Math.max(plot.valToPos(value, "y", true), bbox.top);
        pen.fillRect(bbox.left + wide * slot, bbox.top, wide + 0.5, y - bbox.top);
      }
    });
    pen.restore();
  }

  /** Before the lines: setpoints with their words, and a marker here and there. @param {uPlot} plot */
  above(plot) {
    const { ctx: pen, bbox } = plot;
    const ratio = devicePixelRatio;
    pen.save();
    pen.beginPath();
    pen.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    pen.clip();
    pen.font = `${11.5 * ratio}px sans-serif`;
    pen.textAlign = "left";
    pen.textBaseline = "alphabetic";
    pen.lineWidth = ratio;
    /** @type {number[]} */
    const taken = [];
    for (const mark of this.panel.marks) {
      const y = Math.round(plot.valToPos(mark.at, "y", true));
      pen.strokeStyle = pen.fillStyle = colour(this.element, "--bad");
      pen.setLineDash([5 * ratio, 4 * ratio]);
      pen.beginPath();
      pen.moveTo(bbox.left, y);
      pen.lineTo(bbox.left + bbox.width, y);
      pen.stroke();
      pen.setLineDash([]);
      // Words that would lie on each other stand side by side.
      const beside = taken.filter((other) => Math.abs(other - y) < 13 * ratio).length;
      taken.push(y);
      const x = bbox.left + (6 + 150 * beside) * ratio;
      pen.fillStyle = colour(this.element, "--card");
      pen.globalAlpha = 0.85;
      pen.fillRect(x - 2 * ratio, y - 14 * ratio, pen.measureText(mark.words).width + 4 * ratio, 13 * ratio);
      pen.globalAlpha = 1;
      pen.fillStyle = colour(this.element, "--bad");
      pen.fillText(mark.words, x, y - 4 * ratio);
    }
    this.panel.lines.forEach((_line, at) => {
      const data = /** @type {(number | null)[]} */ (/** @type {unknown} */ (plot.data[at + 1]));
      if (!data) return;
      pen.fillStyle = colour(this.element, `--l${at}`);
      const step = 2 * APART;
      for (let place = 40 + 70 * at; place < data.length; place += step) {
        const value = data[place & ~1];
        if (value === null || value === undefined) continue;
        const x = bbox.left + (bbox.width * place) / data.length;
        marker(pen, at % 4, x, plot.valToPos(value, "y", true), 3.4 * ratio);
      }
    });
    pen.restore();
  }
}

const SHAPES = [
  '<circle cx="14" cy="5" r="3.4"/>',
  '<rect x="10.8" y="1.8" width="6.4" height="6.4"/>',
  '<path class="shape" d="M14 .8 18 8.6H10Z"/>',
  '<path class="shape" d="M14 .4 18.6 5 14 9.6 9.4 5Z"/>',
];
