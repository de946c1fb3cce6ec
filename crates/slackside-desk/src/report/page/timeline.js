// @ts-check
// The drawing that can be taken apart: zoom, pan, values at the cursor, from event to event.
import { bytesOf, columnsOf, unpacked } from "./columns.js";
import { Lane, LEFT, RIGHT } from "./plots.js";
import { Rows } from "./rows.js";
import { StripLane } from "./strips.js";
import { fromTrip, markOf, momentOf } from "./words.js";

/** @typedef {import("./plots.js").View} View */
/** @typedef {import("./plots.js").Panel} Panel */
/** @typedef {import("./strips.js").Strips} Strips */
/** @typedef {import("./words.js").Clock} Clock */
/** @typedef {[number, string, string, boolean]} TripEvent when in microseconds, when in words, what, whether it is bad news */
/**
 * @typedef {object} Trip
 * @property {string} leg @property {boolean} stopped @property {number} begin @property {number} end @property {number | null} trip
 * @property {string | null} window @property {number} rows_before @property {Clock} clock @property {Panel[]} panels
 * @property {Strips[]} strips @property {TripEvent[]} events @property {string} columns @property {import("./rows.js").RowsTold} rows
 */

/** The shortest stretch that can be looked at, in seconds. */
const SHORTEST = 0.02;
/** What is shown before and after the trip as the page opens, at most and at least, and as its run-up. */
const CLOSE = 20;
const SHORT = 5;
const RUN_UP = 12;
/** Room that the words of a mark of the time axis want, in pixels. */
const WORDS = 60;
const STEPS = [0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400, 43200, 86400];

export class Timeline {
  /** @param {HTMLElement} root @param {Trip} trip */
  static async of(root, trip) {
    const base = trip.trip ?? trip.begin;
    const columns = columnsOf(await unpacked(bytesOf(trip.columns)), trip.begin, trip.end, base);
    const rows = new Rows(trip.rows, await unpacked(bytesOf(trip.rows.packed)), trip.begin);
    return new Timeline(root, trip, base, columns, rows);
  }

  /** @param {HTMLElement} root @param {Trip} trip @param {number} base @param {import("./columns.js").Column[]} columns @param {Rows} rows */
  constructor(root, trip, base, columns, rows) {
    this.root = root;
    this.trip = trip;
    this.base = base;
    this.columns = columns;
    this.rows = rows;
    this.begin = (trip.begin - base) / 1e6;
    this.end = Math.max((trip.end - base) / 1e6, this.begin + SHORTEST);
    /** @type {View} */
    this.view = { from: this.begin, to: this.end };
    this.cursor = trip.trip === null ? this.begin : 0;
    /** Which event was stepped to last. */
    this.event = -1;
    /** Milliseconds of script of the last drawing. */
    this.took = 0;
    /** Other trips that move with this one. @type {Timeline[]} */
    this.linked = [];
    /** When a box with another limit would have stopped the leg. @type {number | null} */
    this.wouldStop = null;
    this.#build();
    this.preset(trip.trip === null ? "whole" : "trip");
    new ResizeObserver(() => this.#lay()).observe(/** @type {HTMLElement} */ (this.stage));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.#lay());
  }

  #build() {
    const make = (/** @type {string} */ name, /** @type {string} */ look) => {
      const element = document.createElement(name);
      element.className = look;
      return element;
    };
    this.bar = make("div", "tools");
    this.bar.setAttribute("role", "toolbar");
    this.bar.setAttribute("aria-label", "What is shown");
    const button = (/** @type {string} */ words, /** @type {string} */ title, /** @type {() => void} */ act) => {
      const made = document.createElement("button");
      made.type = "button";
      made.textContent = words;
      made.title = title;
      made.addEventListener("click", act);
      this.bar?.append(made);
    };
    button("Whole trace", "Key w", () => this.preset("whole"));
    if (this.trip.trip !== null) {
      button("Run-up", "Key r", () => this.preset("run-up"));
      button("Trip", "Key t", () => this.preset("trip"));
    }
    button("Zoom in", "Key +", () => this.zoom(0.5));
    button("Zoom out", "Key −", () => this.zoom(2));
    button("‹ Event", "The event before: key p", () => this.step(-1));
    button("Event ›", "The next event: key n", () => this.step(1));
    this.stage = make("div", "stage");
    this.stage.tabIndex = 0;
    this.stage.setAttribute("role", "group");
    this.stage.setAttribute("aria-label", "Timeline. Arrow keys move the cursor, with shift the picture; plus and minus zoom; n and p go from event to event.");
    this.lanes = this.trip.panels.map((panel) => new Lane(/** @type {HTMLElement} */ (this.stage), panel, this.columns));
    this.strips = this.trip.strips.map((strips) => new StripLane(/** @type {HTMLElement} */ (this.stage), strips, this.base));
    this.axis = make("div", "live-axis");
    this.axis.setAttribute("aria-hidden", "true");
    this.tripLine = make("div", "upright trip-line");
    this.cursorLine = make("div", "upright cursor-line");
    this.wouldLine = make("div", "upright would-line");
    this.stage.append(this.axis, this.tripLine, this.wouldLine, this.cursorLine);
    this.told = make("p", "told");
    this.told.setAttribute("role", "status");
    this.behind = make("p", "note behind");
    const help = make("p", "note");
    help.textContent =
      "Drag to move, pinch or use the wheel (with Ctrl, or after a click into the picture) to zoom, double-click for closer. " +
      "Keys: ← → cursor, Shift with them moves the picture, + − zoom, n p next and previous event, " +
      (this.trip.trip === null ? "w whole trace." : "w r t whole, run-up, trip.") +
      (this.trip.window ? ` ${this.trip.window}` : "");
    this.root.replaceChildren(this.bar, this.told, this.stage, this.behind, help);
    this.#listen();
  }

  #listen() {
    const stage = /** @type {HTMLElement} */ (this.stage);
    stage.addEventListener("keydown", (event) => this.#key(event));
    stage.addEventListener(
      "wheel",
      (event) => {
        if (!event.ctrlKey && document.activeElement !== stage) return;
        event.preventDefault();
        const step = event.deltaMode === 1 ? event.deltaY * 16 : event.deltaY;
        if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) this.pan((event.deltaX || step) / this.#width());
        else this.zoom(Math.exp(Math.max(-1, Math.min(1, step / 250))), this.#time(event.clientX));
      },
      { passive: false },
    );
    stage.addEventListener("dblclick", (event) => this.zoom(0.5, this.#time(event.clientX)));
    /** @type {Map<number, number>} */
    const fingers = new Map();
    let apart = 0;
    stage.addEventListener("pointerdown", (event) => {
      fingers.set(event.pointerId, event.clientX);
      const places = [...fingers.values()];
      apart = places.length === 2 ? Math.abs(places[0] - places[1]) : 0;
      stage.setPointerCapture(event.pointerId);
      this.point(this.#time(event.clientX));
    });
    stage.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (before === undefined) {
        if (event.pointerType === "mouse") this.point(this.#time(event.clientX));
        return;
      }
      fingers.set(event.pointerId, event.clientX);
      const places = [...fingers.values()];
      if (places.length === 2 && apart > 0) {
        const now = Math.max(Math.abs(places[0] - places[1]), 1);
        this.zoom(apart / now, this.#time((places[0] + places[1]) / 2));
        apart = now;
      } else {
        this.pan((before - event.clientX) / this.#width());
      }
    });
    for (const end of ["pointerup", "pointercancel"]) {
      stage.addEventListener(end, (event) => fingers.delete(/** @type {PointerEvent} */ (event).pointerId));
    }
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const length = this.view.to - this.view.from;
    /** @type {Record<string, () => void>} */
    const keys = {
      ArrowLeft: () => (event.shiftKey ? this.pan(-0.2) : this.point(this.cursor - length / 100, true)),
      ArrowRight: () => (event.shiftKey ? this.pan(0.2) : this.point(this.cursor + length / 100, true)),
      Home: () => this.point(this.begin, true),
      End: () => this.point(this.end, true),
      "+": () => this.zoom(0.5, this.cursor),
      "=": () => this.zoom(0.5, this.cursor),
      "-": () => this.zoom(2, this.cursor),
      n: () => this.step(1),
      p: () => this.step(-1),
      w: () => this.preset("whole"),
      r: () => this.preset("run-up"),
      t: () => this.preset("trip"),
    };
    const act = event.ctrlKey || event.metaKey || event.altKey ? undefined : keys[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  #width() {
    return Math.max(/** @type {HTMLElement} */ (this.stage).clientWidth - LEFT - RIGHT, 1);
  }

  /** The time under a place on the screen. @param {number} x */
  #time(x) {
    const left = /** @type {HTMLElement} */ (this.stage).getBoundingClientRect().left + LEFT;
    return this.view.from + ((x - left) / this.#width()) * (this.view.to - this.view.from);
  }

  /** Show the whole trace, the seconds before the trip, or the trip in the middle. @param {"whole" | "run-up" | "trip"} which */
  preset(which) {
    if (which === "whole" || this.trip.trip === null) this.show(this.begin, this.end);
    else if (which === "run-up") this.show(-RUN_UP, RUN_UP / 12);
    else {
      // With the trip in the middle, as far as the trace goes on after it.
      const reach = Math.min(Math.max(this.end, SHORT), CLOSE);
      this.show(-reach, reach);
    }
    if (this.trip.trip !== null) this.point(0);
  }

  /** Closer or farther about a time. @param {number} factor @param {number} [about] */
  zoom(factor, about = this.cursor) {
    const { from, to } = this.view;
    const held = Math.min(Math.max(about, from), to);
    this.show(held - (held - from) * factor, held + (to - held) * factor);
  }

  /** Move by a share of what is shown. @param {number} share */
  pan(share) {
    const by = share * (this.view.to - this.view.from);
    this.show(this.view.from + by, this.view.to + by);
  }

  /** Mark when a box with another limit would have stopped the leg. @param {number | null} us */
  would(us) {
    this.wouldStop = us === null || us === this.trip.trip ? null : (us - this.base) / 1e6;
    this.#uprights();
  }

  /** Show a stretch, held inside the trace. @param {number} from @param {number} to @param {boolean} [led] by another trip */
  show(from, to, led = false) {
    if (!led) for (const other of this.linked) other.show(from, to, true);
    const length = Math.min(Math.max(to - from, SHORTEST), this.end - this.begin);
    const middle = (from + to) / 2;
    const held = Math.min(Math.max(middle - length / 2, this.begin), this.end - length);
    this.view = { from: held, to: held + length };
    this.draw();
  }

  /** Go to the next event, or the one before. @param {number} by */
  step(by) {
    const times = this.trip.events.map(([at]) => (at - this.base) / 1e6);
    if (times.length === 0) return;
    const near = this.event >= 0 && Math.abs(times[this.event] - this.cursor) < 1e-9;
    // From a cursor between events the next one is looked for in time; on an event, in the list, since many share a moment.
    if (near) this.event += by;
    else if (by > 0) this.event = times.findIndex((time) => time > this.cursor);
    else this.event = times.findLastIndex((time) => time < this.cursor);
    if (this.event < 0) this.event = by > 0 && !near ? times.length - 1 : 0;
    this.event = Math.min(this.event, times.length - 1);
    this.point(times[this.event], true);
    const [, time, what] = this.trip.events[this.event];
    this.#say(`${time}: ${what}`);
  }

  /** Put the cursor somewhere, and the picture with it if asked. @param {number} time @param {boolean} [follow] */
  point(time, follow = false) {
    this.cursor = Math.min(Math.max(time, this.begin), this.end);
    const length = this.view.to - this.view.from;
    if (follow && (this.cursor < this.view.from || this.cursor > this.view.to)) {
      this.show(this.cursor - length / 2, this.cursor + length / 2);
    } else {
      this.#uprights();
    }
    const us = Math.round(this.base + this.cursor * 1e6);
    const moment = momentOf(this.trip.clock, us);
    this.#say(this.trip.trip === null ? moment : `${moment}, ${fromTrip(this.cursor)}`);
    this.#tell();
  }

  /** @param {string} words */
  #say(words) {
    /** @type {HTMLElement} */ (this.told).textContent = words;
  }

  /** The values at the cursor. */
  #tell() {
    for (const lane of this.lanes ?? []) lane.tell(this.cursor);
    for (const lane of this.strips ?? []) lane.tell(this.cursor);
    /** @type {HTMLElement} */ (this.behind).textContent = this.rows.words(Math.round(this.base + this.cursor * 1e6));
  }

  #lay() {
    const width = /** @type {HTMLElement} */ (this.stage).clientWidth;
    if (width < 50) return;
    for (const lane of this.lanes ?? []) lane.lay(width);
    this.draw();
  }

  /** Draw what is to be seen. */
  draw() {
    const begun = performance.now();
    const width = this.#width();
    const seconds = this.view.to - this.view.from;
    const step = STEPS.find((step) => seconds / step <= Math.max(width / 130, 2)) ?? seconds / 4;
    // Marks lie at round times of the clock that people read.
    const clock = this.trip.clock;
    const offset = (this.base - clock.zero + (clock.day_us ?? 0)) / 1e6;
    const ticks = [];
    for (let at = Math.ceil((this.view.from + offset) / step); (at * step) - offset <= this.view.to; at += 1) ticks.push(at * step - offset);
    for (const lane of this.lanes ?? []) lane.draw(this.view, ticks);
    for (const lane of this.strips ?? []) lane.draw(this.view, width);
    const marks = ticks.map((tick) => {
      const mark = document.createElement("span");
      const share = (tick - this.view.from) / seconds;
      // Its words stay within the picture.
      mark.className = (1 - share) * width < WORDS / 2 ? "t t-last" : "t";
      mark.style.left = `${LEFT + share * width}px`;
      mark.textContent = markOf(clock, Math.round(this.base + tick * 1e6), step);
      return mark;
    });
    /** @type {HTMLElement} */ (this.axis).replaceChildren(...marks);
    this.#uprights();
    this.took = performance.now() - begun;
  }

  #uprights() {
    const place = (/** @type {HTMLElement | undefined} */ line, /** @type {number} */ time) => {
      if (!line) return;
      const share = (time - this.view.from) / (this.view.to - this.view.from);
      line.hidden = share < 0 || share > 1;
      line.style.left = `${LEFT + share * this.#width()}px`;
    };
    if (this.trip.trip === null) /** @type {HTMLElement} */ (this.tripLine).hidden = true;
    else place(this.tripLine, 0);
    place(this.cursorLine, this.cursor);
    if (this.wouldStop === null) /** @type {HTMLElement} */ (this.wouldLine).hidden = true;
    else place(this.wouldLine, this.wouldStop);
  }
}
