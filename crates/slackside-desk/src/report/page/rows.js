// @ts-check
// From a moment back to the rows of the trace behind it: of each channel the newest one.

/** @typedef {{ name: string, what: string, channels: string[], packed: string }} RowsTold */

export class Rows {
  /** @param {RowsTold} told @param {Uint8Array} bytes unpacked @param {number} begin when the trace begins, in microseconds */
  constructor(told, bytes, begin) {
    this.told = told;
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    const count = view.getUint32(0, true);
    /** Of each channel, when its rows came and what number each has. @type {{ times: number[], numbers: number[] }[]} */
    this.channels = told.channels.map(() => ({ times: [], numbers: [] }));
    let time = begin;
    let number = 0;
    for (let at = 0; at < count; at += 1) {
      time += view.getUint32(4 + 4 * at, true);
      number += view.getUint32(4 + 4 * (count + at), true);
      const channel = this.channels[bytes[4 + 8 * count + at]];
      channel.times.push(time);
      channel.numbers.push(number);
    }
  }

  /** The newest row of each channel by a moment, in the order of the channels. @param {number} us */
  at(us) {
    /** @type {[string, number][]} */
    const found = [];
    this.channels.forEach(({ times, numbers }, channel) => {
      let low = 0;
      let to = times.length;
      while (low < to) {
        const middle = (low + to) >> 1;
        if (times[middle] <= us) low = middle + 1;
        else to = middle;
      }
      if (low > 0) found.push([this.told.channels[channel], numbers[low - 1]]);
    });
    return found;
  }

  /** The same in words. @param {number} us */
  words(us) {
    const found = this.at(us).map(([channel, number]) => `${channel} ${this.told.what} ${number}`);
    return found.length > 0 ? `Newest rows of ${this.told.name} by then: ${found.join(", ")}.` : "The page holds no row from before then.";
  }
}
