// The ends of a sound on its picture: two sliders, moved by arrow keys or the mouse. An end beyond
// the picture, which holds half a minute, stands at its edge.

const STEP_S = 0.01;
const LEAP_S = 0.1;
const SHORTEST_S = 0.02;

// Seconds of the take as the server writes them: 1:02.35.
export function clock(seconds) {
  const hundredths = Math.round(seconds * 100);
  const [hours, minutes] = [Math.floor(hundredths / 360000), Math.floor(hundredths / 6000) % 60];
  const tail = ((hundredths % 6000) / 100).toFixed(2).padStart(5, "0");
  return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${tail}` : `${minutes}:${tail}`;
}

export class Edges {
  #plot;
  #first;
  #last;
  #latest;
  #ends;
  moved = false;

  // `told` is called with start and end, in seconds of the take, when one was moved.
  constructor(card, told) {
    this.#plot = card.querySelector(".plot");
    this.told = told;
    this.#first = Number(card.dataset.first);
    this.#last = Number(card.dataset.last);
    this.#ends = { start: Number(card.dataset.start), end: Number(card.dataset.end) };
    this.#latest = Math.max(this.#last, this.#ends.end);
    if (this.#plot === null) return;
    for (const which of ["start", "end"]) {
      const handle = this.handle(which);
      handle.setAttribute("aria-valuemin", this.#first.toFixed(2));
      handle.setAttribute("aria-valuemax", this.#latest.toFixed(2));
      handle.addEventListener("keydown", (event) => this.#key(event, which));
      handle.addEventListener("pointerdown", (event) => {
        handle.setPointerCapture(event.pointerId);
        handle.focus();
        event.preventDefault();
      });
      handle.addEventListener("pointermove", (event) => {
        if (handle.hasPointerCapture(event.pointerId)) this.#move(which, this.#at(event.clientX));
      });
    }
    this.#show();
  }

  get start() {
    return this.#ends.start;
  }

  get end() {
    return this.#ends.end;
  }

  handle(which) {
    return this.#plot?.querySelector(`.edge.${which}`);
  }

  #at(x) {
    const box = this.#plot.getBoundingClientRect();
    return this.#first + ((x - box.left) / box.width) * (this.#last - this.#first);
  }

  #key(event, which) {
    const by = event.shiftKey ? LEAP_S : STEP_S;
    const to = {
      ArrowLeft: this.#ends[which] - by,
      ArrowDown: this.#ends[which] - by,
      ArrowRight: this.#ends[which] + by,
      ArrowUp: this.#ends[which] + by,
      PageDown: this.#ends[which] - LEAP_S,
      PageUp: this.#ends[which] + LEAP_S,
      Home: this.#first,
      End: this.#latest,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    event.stopPropagation();
    this.#move(which, to);
  }

  #move(which, to) {
    const low = which === "start" ? this.#first : this.#ends.start + SHORTEST_S;
    const high = which === "start" ? this.#ends.end - SHORTEST_S : this.#latest;
    this.#ends[which] = Math.round(Math.min(high, Math.max(low, to)) * 1000) / 1000;
    this.moved = true;
    this.#show();
    this.told(this.#ends.start, this.#ends.end);
  }

  #show() {
    const length = this.#last - this.#first;
    const share = (at) => 100 * Math.min(1, (at - this.#first) / length);
    for (const which of ["start", "end"]) {
      const at = this.#ends[which];
      const handle = this.handle(which);
      handle.style.left = `${share(at)}%`;
      handle.setAttribute("aria-valuenow", at.toFixed(2));
      handle.setAttribute("aria-valuetext", `${at.toFixed(2)} seconds`);
    }
    this.#plot.querySelector(".outside.before").style.width = `${share(this.#ends.start)}%`;
    this.#plot.querySelector(".outside.after").style.width = `${100 - share(this.#ends.end)}%`;
  }
}
