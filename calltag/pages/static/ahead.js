// Cards and sounds as promises, asked for once, and a little ahead of when they are needed.

import { asked } from "./asking.js";

const MOST = 12;

export class Ahead {
  #had = new Map(); // number -> { card, sound }

  get(number) {
    if (!this.#had.has(number)) {
      const sound = asked(`sound/${number}/sound.wav`).then((answer) => answer.arrayBuffer());
      const card = asked(`sound/${number}`).then((answer) => answer.text());
      const both = { card, sound };
      this.#had.set(number, both);
      // What could not be had is asked for again the next time.
      const drop = () => this.#had.get(number) === both && this.forget(number);
      sound.catch(drop);
      card.catch(drop);
      if (this.#had.size > MOST) this.forget(this.#had.keys().next().value);
    }
    return this.#had.get(number);
  }

  forget(number) {
    this.#had.delete(number);
  }

  clear() {
    this.#had.clear();
  }
}
