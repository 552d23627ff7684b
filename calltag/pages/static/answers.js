// What was said in this sitting: in the log at once, and taken back again, the latest first.

import { asked } from "./asking.js";

export class Answers {
  #given = []; // { answer, before }: the latest last, each with what `last` and `sitting` were before it
  last = "";
  sitting = 0;

  get any() {
    return this.#given.length > 0;
  }

  async save(said) {
    const saved = await (await asked("answer", said)).json();
    this.#keep(saved);
    this.last = saved.label;
    this.sitting += 1;
    return saved;
  }

  async takeAway(number) {
    const taken = await (await asked("removal", { number })).json();
    this.#keep(taken);
    return taken;
  }

  #keep({ answer }) {
    this.#given.push({ answer, before: { last: this.last, sitting: this.sitting } });
  }

  async takeBack() {
    const { answer, before } = this.#given.at(-1);
    let taken;
    try {
      taken = await (await asked("undo", { answer })).json();
    } catch (error) {
      if (error.status === 400) this.#given.pop(); // it cannot be taken back any more
      throw error;
    }
    this.#given.pop();
    Object.assign(this, before);
    return taken;
  }
}
