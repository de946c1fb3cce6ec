// @ts-check
// The channels of a trace: points in time with the least and the most that each can have been, and a pyramid over them, so that
// a picture of any stretch looks at a few hundred numbers, not at a million.

/** No upper bound. */
const OPEN = 2 ** 31 - 1;
/** So many entries of one storey of the pyramid are one of the next. */
const FACTOR = 4;

/**
 * @typedef {object} Storey
 * @property {Float64Array} low the least
 * @property {Float64Array} top the most of the least
 * @property {Float64Array} high the most where there is an upper bound
 */

/**
 * @typedef {object} Slots
 * @property {Float64Array} low the least in each slot; not a number where nothing was known
 * @property {Float64Array} high the most
 * @property {Uint8Array} open 1 where there was no upper bound all the time
 */

export class Column {
  /**
   * @param {Float64Array} times when each point begins to hold, in seconds
   * @param {Int32Array} least
   * @param {Int32Array} most
   */
  constructor(times, least, most) {
    this.times = times;
    this.least = least;
    this.most = most;
    const count = times.length;
    const low = new Float64Array(count);
    const top = new Float64Array(count);
    const high = new Float64Array(count);
    for (let at = 0; at < count; at += 1) {
      const known = least[at] <= most[at];
      low[at] = known ? least[at] : Infinity;
      top[at] = known ? least[at] : -Infinity;
      high[at] = known && most[at] !== OPEN ? most[at] : -Infinity;
    }
    /** @type {Storey[]} */
    this.storeys = [{ low, top, high }];
    for (let below = this.storeys[0]; below.low.length > FACTOR; ) {
      below = gathered(below);
      this.storeys.push(below);
    }
  }

  /** How many points begin at or before a time. @param {number} time @param {number} [from=0] */
  past(time, from = 0) {
    let low = from;
    let to = this.times.length;
    while (low < to) {
      const middle = (low + to) >> 1;
      if (this.times[middle] <= time) low = middle + 1;
      else to = middle;
    }
    return low;
  }

  /** What held at a time: least and most, the most infinite where it is open; `null` if nothing was known. @param {number} time */
  at(time) {
    const at = this.past(time) - 1;
    if (at < 0 || this.least[at] > this.most[at]) return null;
    return { least: this.least[at], most: this.most[at] === OPEN ? Infinity : this.most[at] };
  }

  /**
   * The least and the most in each of `count` slots between two times, in units of `scale`.
   * @param {number} from @param {number} to @param {number} count @param {number} scale
   * @returns {Slots}
   */
  slots(from, to, count, scale) {
    const low = new Float64Array(count);
    const high = new Float64Array(count);
    const open = new Uint8Array(count);
    const width = (to - from) / count;
    let next = this.past(from, 0);
    for (let slot = 0; slot < count; slot += 1) {
      // What held as the slot began belongs to it.
      const first = Math.max(next - 1, 0);
      next = this.past(from + width * (slot + 1), next);
      const seen = this.#span(first, next);
      const known = seen.low < Infinity;
      low[slot] = known ? seen.low / scale : NaN;
      high[slot] = known ? Math.max(seen.top, seen.high) / scale : NaN;
      open[slot] = known && seen.high === -Infinity ? 1 : 0;
    }
    return { low, high, open };
  }

  /** @param {number} from @param {number} to */
  #span(from, to) {
    const seen = { low: Infinity, top: -Infinity, high: -Infinity };
    while (from < to) {
      let storey = 0;
      let width = 1;
      while (storey + 1 < this.storeys.length && from % (width * FACTOR) === 0 && from + width * FACTOR <= to) {
        storey += 1;
        width *= FACTOR;
      }
      const { low, top, high } = this.storeys[storey];
      const at = from / width;
      if (low[at] < seen.low) seen.low = low[at];
      if (top[at] > seen.top) seen.top = top[at];
      if (high[at] > seen.high) seen.high = high[at];
      from += width;
    }
    return seen;
  }
}

/** The next storey. @param {Storey} below @returns {Storey} */
function gathered(below) {
  const count = Math.ceil(below.low.length / FACTOR);
  const low = new Float64Array(count).fill(Infinity);
  const top = new Float64Array(count).fill(-Infinity);
  const high = new Float64Array(count).fill(-Infinity);
  for (let at = 0; at < below.low.length; at += 1) {
    const place = (at / FACTOR) | 0;
    if (below.low[at] < low[place]) low[place] = below.low[at];
    if (below.top[at] > top[place]) top[place] = below.top[at];
    if (below.high[at] > high[place]) high[place] = below.high[at];
  }
  return { low, top, high };
}

/** Base 64 to bytes. @param {string} text */
export function bytesOf(text) {
  return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
}

/** What was packed with gzip. @param {Uint8Array<ArrayBuffer>} bytes */
export async function unpacked(bytes) {
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/**
 * The columns as the page holds them, their times in seconds after `base`. What comes after the end of the trace is not known.
 * @param {Uint8Array} bytes @param {number} begin @param {number} end @param {number} base in microseconds
 */
export function columnsOf(bytes, begin, end, base) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const columns = [];
  let place = 0;
  const next = () => {
    place += 4;
    return place - 4;
  };
  while (place < bytes.byteLength) {
    const count = view.getUint32(next(), true);
    const times = new Float64Array(count + 1);
    times[count] = (end + 1 - base) / 1e6;
    let micros = begin;
    for (let at = 0; at < count; at += 1) {
      micros += view.getUint32(next(), true);
      times[at] = (micros - base) / 1e6;
    }
    const least = new Int32Array(count + 1).fill(1);
    const most = new Int32Array(count + 1);
    for (let at = 0; at < count; at += 1) least[at] = view.getInt32(next(), true);
    for (let at = 0; at < count; at += 1) most[at] = view.getInt32(next(), true);
    columns.push(new Column(times, least, most));
  }
  return columns;
}
