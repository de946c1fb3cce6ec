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
/** @typedef {{ x: number, y: number, wide: number, high: number, words: string, weight: number }} Box where words lie, in pixels of the drawing */
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
    /** Where the words of the setpoints lie. @type {Box[]} */
    this.labels = [];
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

  /** Before the lines: setpoints, a marker here and there, and the words of the setpoints. @param {uPlot} plot */
  above(plot) {
    const { ctx: pen, bbox } = plot;
    const ratio = devicePixelRatio;
    pen.save();
    pen.beginPath();
    pen.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    pen.clip();
    pen.lineWidth = ratio;
    pen.strokeStyle = colour(this.element, "--bad");
    pen.setLineDash([5 * ratio, 4 * ratio]);
    for (const mark of this.panel.marks) {
      const y = Math.round(plot.valToPos(mark.at, "y", true));
      pen.beginPath();
      pen.moveTo(bbox.left, y);
      pen.lineTo(bbox.left + bbox.width, y);
      pen.stroke();
    }
    pen.setLineDash([]);
    this.panel.lines.forEach((_line, at) => {
      const data = /** @type {(number | null)[]} */ (/** @type {unknown} */ (plot.data[at + 1]));
      if (!data) return;
      pen.fillStyle = colour(this.element, `--l${at}`);
      const step = 2 * APART;
      for (let place = 40 + (step * at) / 4; place < data.length; place += step) {
        const value = data[place & ~1];
        if (value === null || value === undefined) continue;
        const x = bbox.left + (bbox.width * place) / data.length;
        marker(pen, at % 4, x, plot.valToPos(value, "y", true), 3.4 * ratio);
      }
    });
    this.#name(plot);
    pen.restore();
  }

  /** Write the words of the setpoints where no line runs through them. @param {uPlot} plot */
  #name(plot) {
    const { ctx: pen, bbox } = plot;
    const ratio = devicePixelRatio;
    pen.font = `${11.5 * ratio}px sans-serif`;
    pen.textAlign = "left";
    pen.textBaseline = "alphabetic";
    const zero = plot.valToPos(0, "y", true);
    const one = plot.valToPos(1, "y", true) - zero;
    const data = /** @type {(number | null)[][]} */ (/** @type {unknown} */ (plot.data.slice(1)));
    const levels = this.panel.marks.map((mark) => Math.round(zero + one * mark.at));
    const trip = plot.valToPos(0, "x", true);
    const high = 14 * ratio;
    this.labels = [];
    for (const [at, mark] of this.panel.marks.entries()) {
      const wide = pen.measureText(mark.words).width + 6 * ratio;
      /** What lies under words at a place: other words weigh most, then lines of limits, then the trip, then a curve. */
      const under = (/** @type {Box} */ box) => {
        let weight = box.y < bbox.top || box.y + box.high > bbox.top + bbox.height ? 1e6 : 0;
        for (const other of this.labels) if (box.x < other.x + other.wide && other.x < box.x + box.wide && box.y < other.y + other.high && other.y < box.y + box.high) weight += 1e6;
        for (const level of levels) if (level > box.y && level < box.y + box.high) weight += 1e5;
        // Words on the other side of another limit's line seem to be that one's.
        const middle = box.y + box.high / 2;
        for (const level of levels) if (Math.min(middle, levels[at]) < level && level < Math.max(middle, levels[at])) weight += 30;
        if (trip > box.x && trip < box.x + box.wide) weight += 1e3;
        for (const line of data) {
          const slot = line.length / bbox.width;
          const end = Math.min(Math.ceil((box.x + box.wide - bbox.left) * slot), line.length);
          for (let place = Math.max(Math.floor((box.x - bbox.left) * slot), 0); place < end; place += 1) {
            const value = line[place];
            if (value !== null && zero + one * value > box.y - ratio && zero + one * value < box.y + box.high + ratio) weight += 1;
          }
        }
        return weight;
      };
      let best = { x: 0, y: 0, wide, high, words: mark.words, weight: Infinity };
      // Above its line or below it; where others lie close, above or below those. Beginning at the left.
      const heights = levels.flatMap((level) => [level - high - ratio, level + 2 * ratio, level - 2 * high - ratio]);
      heights.sort((a, b) => Math.abs(a + high / 2 - levels[at]) - Math.abs(b + high / 2 - levels[at]));
      for (const y of heights) {
        for (let part = 0; part <= 8; part += 1) {
          const box = { x: bbox.left + 4 * ratio + ((bbox.width - wide - 8 * ratio) * part) / 8, y, wide, high, words: mark.words, weight: 0 };
          box.weight = under(box);
          if (box.weight < best.weight) best = box;
        }
      }
      this.labels.push(best);
      pen.fillStyle = colour(this.element, "--card");
      pen.fillRect(best.x, best.y, wide, high);
      pen.fillStyle = colour(this.element, "--bad");
      pen.fillText(mark.words, best.x + 3 * ratio, best.y + high - 3.5 * ratio);
    }
  }
}

const SHAPES = [
  '<circle cx="14" cy="5" r="3.4"/>',
  '<rect x="10.8" y="1.8" width="6.4" height="6.4"/>',
  '<path class="shape" d="M14 .8 18 8.6H10Z"/>',
  '<path class="shape" d="M14 .4 18.6 5 14 9.6 9.4 5Z"/>',
];
