// @ts-check
// The core inside: a limit is turned, and the very code of the box says what it would have done.
import { bytesOf, unpacked } from "./columns.js";

/**
 * @typedef {object} Knob
 * @property {string} condition @property {string} part @property {string} key @property {string} reason
 * @property {number} low @property {number} high @property {number} step @property {number} value @property {string} words
 */
/**
 * @typedef {object} Answer
 * @property {string} value @property {string[]} [refused] @property {string[]} [says] @property {string[]} [moved]
 * @property {number | null} [stop_us] @property {string} [identity]
 */
/**
 * @typedef {object} Core
 * @property {WebAssembly.Memory} memory
 * @property {(bytes: number) => number} room @property {() => number} answer @property {() => number} open
 * @property {(knob: number, value: number, together: number) => number} turn
 * @property {(knob: number, together: number) => number} allowed @property {() => number} verdicts
 */

/** The core, started once for the page. @param {string} text */
async function started(text) {
  const module = await WebAssembly.instantiate(await unpacked(bytesOf(text)), {});
  return /** @type {Core} */ (/** @type {unknown} */ (module.instance.exports));
}

export class Bench {
  /** @param {string} core @param {string} recording both packed, as the page holds them */
  static async of(core, recording) {
    return new Bench(await started(core), await unpacked(bytesOf(recording)));
  }

  /** @param {Core} core @param {Uint8Array} recording */
  constructor(core, recording) {
    this.core = core;
    const told = this.open(recording);
    /** @type {Knob[]} */
    this.knobs = told.knobs;
    /** @type {string} */
    this.caution = told.caution;
  }

  /** Put another recording on the bench. @param {Uint8Array} recording */
  open(recording) {
    const place = this.core.room(recording.length);
    new Uint8Array(this.core.memory.buffer, place, recording.length).set(recording);
    return JSON.parse(this.#text(this.core.open()));
  }

  /** @param {number} length */
  #text(length) {
    return new TextDecoder().decode(this.bytes(length));
  }

  /** @param {number} length */
  bytes(length) {
    return new Uint8Array(this.core.memory.buffer, this.core.answer(), length).slice();
  }

  /** @param {number} knob @param {number} value @param {boolean} together @returns {Answer} */
  turn(knob, value, together) {
    return JSON.parse(this.#text(this.core.turn(knob, value, together ? 1 : 0)));
  }

  /** @param {number} knob @param {boolean} together @returns {[number, number][]} */
  allowed(knob, together) {
    return JSON.parse(this.#text(this.core.allowed(knob, together ? 1 : 0)));
  }

  /** The verdicts of the last turn, as the link sends them. */
  verdicts() {
    return this.bytes(this.core.verdicts());
  }
}

/** Shows a bench. */
export class BenchView {
  /** @param {HTMLElement} root @param {Bench} bench @param {(us: number | null) => void} show where the changed box would have stopped */
  constructor(root, bench, show) {
    this.bench = bench;
    this.show = show;
    const make = (/** @type {string} */ name, /** @type {string} */ look, /** @type {string} */ text = "") => {
      const element = document.createElement(name);
      if (look) element.className = look;
      element.textContent = text;
      return element;
    };
    this.choice = document.createElement("select");
    bench.knobs.forEach((knob, at) => this.choice.add(new Option(`${knob.condition}: ${knob.part}`, String(at))));
    this.slider = document.createElement("input");
    this.slider.type = "range";
    this.slider.setAttribute("aria-describedby", "bench-caution");
    this.together = document.createElement("input");
    this.together.type = "checkbox";
    this.value = make("output", "bench-value");
    this.marks = make("div", "allowed");
    this.marks.setAttribute("aria-hidden", "true");
    this.range = make("p", "note");
    this.answer = make("div", "bench-answer");
    this.answer.setAttribute("role", "status");
    this.reason = make("p", "note");
    const caution = make("p", "bench-caution", bench.caution);
    caution.id = "bench-caution";
    const label = (/** @type {string} */ text, /** @type {HTMLElement[]} */ ...inside) => {
      const made = document.createElement("label");
      made.append(...(inside[0] === this.together ? [...inside, ` ${text}`] : [`${text} `, ...inside]));
      return made;
    };
    const row = make("div", "bench-row");
    const track = make("div", "bench-track");
    track.append(label("If it had been set to", this.slider, this.value), this.marks);
    const back = /** @type {HTMLButtonElement} */ (make("button", "", "As recorded"));
    back.type = "button";
    back.addEventListener("click", () => this.choose());
    row.append(label("Limit", this.choice), back, label("let coupled limits move with it", this.together));
    root.replaceChildren(row, track, this.range, caution, this.answer, this.reason);
    this.choice.addEventListener("change", () => this.choose());
    this.slider.addEventListener("input", () => this.turn());
    this.together.addEventListener("change", () => this.rule());
    this.choose();
  }

  get knob() {
    return this.bench.knobs[this.choice.selectedIndex];
  }

  choose() {
    const knob = this.knob;
    Object.assign(this.slider, { min: String(knob.low), max: String(knob.high), step: String(knob.step) });
    // A step counts from the least; what was recorded must be reachable.
    this.slider.step = (knob.value - knob.low) % knob.step === 0 ? String(knob.step) : "1";
    this.slider.value = String(knob.value);
    /** @type {HTMLElement} */ (this.reason).textContent = `${knob.key}, recorded as ${knob.words}. ${knob.reason}`;
    this.rule();
  }

  /** Mark which values the rules allow. */
  rule() {
    const knob = this.knob;
    const allowed = this.bench.allowed(this.choice.selectedIndex, this.together.checked);
    const share = (/** @type {number} */ value) => `${((value - knob.low) / (knob.high - knob.low)) * 100}%`;
    const marks = allowed.map(([from, to]) => {
      const mark = document.createElement("span");
      mark.style.left = share(from);
      mark.style.right = `calc(100% - ${share(to)})`;
      return mark;
    });
    const was = document.createElement("i");
    was.style.left = share(knob.value);
    this.marks.replaceChildren(...marks, was);
    const words = allowed.map(([from, to]) => `${this.#words(from)} to ${this.#words(to)}`);
    this.range.textContent = words.length > 0 ? `The rules allow ${words.join(" and ")} (marked); recorded ${knob.words}.` : "The rules allow no value.";
    this.turn();
  }

  /** @param {number} value */
  #words(value) {
    return this.bench.turn(this.choice.selectedIndex, value, this.together.checked).value;
  }

  turn() {
    const said = this.bench.turn(this.choice.selectedIndex, Number(this.slider.value), this.together.checked);
    this.value.textContent = said.value;
    this.slider.setAttribute("aria-valuetext", said.value);
    const lines = said.refused ? ["The rules refuse it:", ...said.refused] : [...(said.says ?? []), ...(said.moved ?? [])];
    if (said.identity) lines.push(`Identity of these settings: ${said.identity}.`);
    this.answer.classList.toggle("refused", Boolean(said.refused));
    this.answer.replaceChildren(
      ...lines.map((line, at) => {
        const told = document.createElement("p");
        if (at > 0) told.className = "note";
        told.textContent = line;
        return told;
      }),
    );
    this.show(said.stop_us ?? null);
  }
}
