// @ts-check
// Times and values as people read them, in the form that the rest of the page has.

/**
 * @typedef {object} Clock
 * @property {number} zero the moment that counts as zero, microseconds of the trace
 * @property {number | null} day_us what the clock of the day said then, microseconds from 1970 UTC
 * @property {boolean} dates whether a time of day needs its date
 */

/** A length of time. @param {number} us microseconds */
export function lengthOf(us) {
  if (us < 600e6) {
    const millis = Math.floor((us + 500) / 1000);
    return `${Math.floor(millis / 1000)}.${String(millis % 1000).padStart(3, "0")} s`;
  }
  const seconds = Math.floor(us / 1e6);
  const two = (/** @type {number} */ number) => String(number).padStart(2, "0");
  const hours = Math.floor(seconds / 3600);
  if (hours === 0) return `${Math.floor(seconds / 60)} min ${two(seconds % 60)} s`;
  return `${hours} h ${two(Math.floor(seconds / 60) % 60)} min ${two(seconds % 60)} s`;
}

/** A moment of the trace. @param {Clock} clock @param {number} us */
export function momentOf(clock, us) {
  const since = us - clock.zero;
  if (clock.day_us === null) return lengthOf(Math.max(since, 0));
  const whole = new Date(Math.floor((clock.day_us + since + 500) / 1000)).toISOString().replace("T", " ").replace("Z", "");
  return clock.dates ? whole : whole.slice(11);
}

/** A moment on an axis with marks so many seconds apart. @param {Clock} clock @param {number} us @param {number} step */
export function markOf(clock, us, step) {
  const text = momentOf(clock, us);
  if (clock.day_us !== null) {
    if (step < 1) return text;
    return step < 60 ? text.split(".")[0] : text.slice(0, text.lastIndexOf(":"));
  }
  if (step >= 1 && text.includes(".")) return `${text.split(".")[0]} s`;
  return text.replace(/ 00 s$/, "");
}

/** How far before or after the trip. @param {number} seconds */
export function fromTrip(seconds) {
  if (Math.abs(seconds) < 0.0005) return "the trip";
  return `${lengthOf(Math.abs(seconds) * 1e6)} ${seconds < 0 ? "before" : "after"} the trip`;
}

/**
 * What was known of a channel.
 * @param {{ least: number, most: number } | null} known @param {{ per: number, places: number, unit: string }} line
 */
export function valueOf(known, line) {
  if (!known) return "not known";
  // Adding zero takes the sign off nothing.
  const text = (/** @type {number} */ value) => (Number((value / line.per).toFixed(line.places)) + 0).toFixed(line.places);
  const [least, most] = [text(known.least), text(known.most)];
  if (known.most === Infinity) return `at least ${least} ${line.unit}`;
  return least === most ? `${least} ${line.unit}` : `${least} to ${most} ${line.unit}`;
}
