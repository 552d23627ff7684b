// One thing at a time. What is typed before the next sound is there would be said of a sound that
// nobody heard: while something is being done, what comes is dropped, or waits its turn.

import { alertOf } from "./page.js";

export class Gate {
  #card;
  #busy = false;
  #waiting = []; // { work, told }

  // `card` is what is said to be busy.
  constructor(card) {
    this.#card = card;
  }

  // Tells whether the work was done; why not stands on the page.
  async pass(work, { waits = false } = {}) {
    if (this.#busy) return waits && new Promise((told) => this.#waiting.push({ work, told }));
    this.#turn(true);
    try {
      await work();
      return true;
    } catch (error) {
      alertOf(error.message);
      return false;
    } finally {
      this.#turn(false);
      const next = this.#waiting.shift();
      if (next) this.pass(next.work).then(next.told);
    }
  }

  #turn(busy) {
    this.#busy = busy;
    this.#card.setAttribute("aria-busy", String(busy));
  }
}
