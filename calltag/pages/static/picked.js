// The calls that are picked, in the order of picking. The browser keeps them for this library as long as
// its tab is open.

import { asked } from "./asking.js";

const AT_ONCE = 500; // in a request, which may be no longer than the server's guard lets in

export class Picked {
  #ids = new Map(); // by key
  #name;

  constructor(library) {
    this.#name = `picked in ${library}`;
  }

  get size() {
    return this.#ids.size;
  }

  get keys() {
    return [...this.#ids.keys()];
  }

  has(key) {
    return this.#ids.has(key);
  }

  add(key, id) {
    this.#ids.set(key, id);
    this.#store();
  }

  delete(key) {
    this.#ids.delete(key);
    this.#store();
  }

  clear() {
    this.#ids.clear();
    this.#store();
  }

  // Brings back what was picked before the page was loaded again, as far as it is kept still; tells how
  // many are not.
  async restore() {
    const before = this.#stored();
    if (before.length === 0) return 0;
    const there = [];
    for (let i = 0; i < before.length; i += AT_ONCE) {
      const answer = await asked("picked", { picked: before.slice(i, i + AT_ONCE) });
      there.push(...(await answer.json()).picked);
    }
    this.#ids = new Map([...there, ...this.#ids]);
    this.#store();
    return before.length - there.length;
  }

  #store() {
    try {
      sessionStorage.setItem(this.#name, JSON.stringify([...this.#ids]));
    } catch { /* the browser is told to keep nothing */ }
  }

  #stored() {
    try {
      return JSON.parse(sessionStorage.getItem(this.#name)) ?? [];
    } catch {
      return [];
    }
  }
}
