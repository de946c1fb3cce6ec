// @ts-check
// Shows beside a number where it comes from: when the pointer rests on it, when the keyboard comes to it, when it is tapped. Escape puts
// the note away. Without script the number leads to its note at the end of the page.

/** How far the note keeps from the edges of the page, in pixels. */
const EDGE = 8;

export class SourceNotes {
  constructor() {
    this.note = document.createElement("div");
    this.note.className = "source-note";
    this.note.setAttribute("role", "tooltip");
    this.note.id = "source-note";
    this.note.hidden = true;
    /** The number whose note is shown. @type {HTMLElement | null} */
    this.shown = null;
    document.body.append(this.note);
    const link = (/** @type {Event} */ event) => (event.target instanceof Element ? event.target.closest("a.src") : null);
    document.addEventListener("pointerover", (event) => {
      if (event.pointerType !== "mouse") return;
      const number = link(event);
      if (number) this.show(/** @type {HTMLElement} */ (number));
      // The pointer may go over to the note itself.
      else if (!this.note.contains(/** @type {Node} */ (event.target)) && this.shown !== document.activeElement) this.hide();
    });
    document.addEventListener("focusin", (event) => {
      const number = link(event);
      if (number) this.show(/** @type {HTMLElement} */ (number));
      else this.hide();
    });
    document.addEventListener("click", (event) => {
      const number = link(event);
      if (number) {
        event.preventDefault();
        this.show(/** @type {HTMLElement} */ (number));
      } else if (!this.note.contains(/** @type {Node} */ (event.target))) this.hide();
    });
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.hide();
    });
  }

  /** @param {HTMLElement} number */
  show(number) {
    const note = document.querySelector(number.getAttribute("href") ?? "");
    if (!note) return;
    this.hide();
    this.shown = number;
    number.setAttribute("aria-describedby", this.note.id);
    this.note.replaceChildren(...[...note.childNodes].map((node) => node.cloneNode(true)));
    this.note.hidden = false;
    const at = number.getBoundingClientRect();
    const [wide, high] = [this.note.offsetWidth, this.note.offsetHeight];
    const room = document.documentElement.clientWidth;
    const left = Math.max(EDGE, Math.min(at.left, room - wide - EDGE));
    // Below the number, or above it where there is no room below.
    const below = at.bottom + high < innerHeight || at.top < high;
    this.note.style.left = `${left + scrollX}px`;
    this.note.style.top = `${(below ? at.bottom : at.top - high) + scrollY}px`;
  }

  hide() {
    this.shown?.removeAttribute("aria-describedby");
    this.shown = null;
    this.note.hidden = true;
  }
}
