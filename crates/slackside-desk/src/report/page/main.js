// @ts-check
// Puts the live drawing in the place of the still one.
import { Bench, BenchView } from "./bench.js";
import { Column, bytesOf, unpacked } from "./columns.js";
import { SourceNotes } from "./sources.js";
import { Timeline } from "./timeline.js";

async function begin() {
  const notes = new SourceNotes();
  /** @type {Timeline[]} */
  const timelines = [];
  for (const section of document.querySelectorAll("section.live")) {
    const data = section.querySelector("script.trip")?.textContent;
    const place = section.querySelector(".timeline");
    if (!data || !(place instanceof HTMLElement)) continue;
    /** @type {HTMLElement} */ (section).hidden = false;
    timelines.push(await Timeline.of(place, JSON.parse(data)));
    document.body.classList.add("scripted");
  }
  // Trips side by side move together, over all that either of them has.
  if (timelines.length > 1 && timelines.every((line) => line.trip.trip !== null)) {
    const [begin, end] = [Math.min(...timelines.map((line) => line.begin)), Math.max(...timelines.map((line) => line.end))];
    for (const line of timelines) Object.assign(line, { begin, end, linked: timelines.filter((other) => other !== line) });
    timelines[0].preset("trip");
  }
  // For whoever looks into the page from outside, such as its tests.
  Object.assign(globalThis, { slackside: { timelines, notes, Column, Timeline, bytesOf, unpacked } });
}

/** The core inside, where the browser can run it. */
async function beginBench() {
  const section = document.querySelector("section.live-bench");
  const [core, recording] = [".core", ".recording"].map((name) => section?.querySelector(name)?.textContent);
  const place = section?.querySelector(".bench");
  if (!core || !recording || !(place instanceof HTMLElement)) return;
  const bench = await Bench.of(core, recording);
  const line = /** @type {any} */ (globalThis).slackside.timelines[0];
  /** @type {HTMLElement} */ (section).hidden = false;
  const view = new BenchView(place, bench, (us) => line.would(us));
  Object.assign(/** @type {any} */ (globalThis).slackside, { bench, benchView: view });
}

// Without what it needs, the still drawing stays.
begin().then(beginBench).catch((problem) => {
  console.error(problem);
  if (document.body.classList.contains("scripted")) return;
  for (const section of document.querySelectorAll("section.live")) /** @type {HTMLElement} */ (section).hidden = true;
});
