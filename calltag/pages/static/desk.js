// The desk: which of its keys can be pressed, and what stands on those that give a label.

import { $ } from "./page.js";

const DIGITS = 9;

export class Desk {
  #known = [];

  // Puts the types in use on the digits, which stay with their types: new ones come last.
  types(words) {
    const types = words.filter((word) => !isNoise(word) && word !== $("no").dataset.label);
    const stayed = this.#known.filter((word) => types.includes(word));
    this.#known = [...stayed, ...types.filter((word) => !stayed.includes(word))];
    $("none-known").hidden = this.#known.length > 0;
    $("known").replaceChildren(...this.#known.slice(0, DIGITS).map(typeKey));
  }

  // Lets the next types be put in order anew.
  forgetTypes() {
    this.#known = [];
  }

  offerGuess(guess) {
    $("yes").disabled = guess === "";
    $("yes").querySelector("span").textContent = guess === "" ? "Yes (no guess yet)" : "Yes";
  }

  offerAgain(last) {
    $("again").disabled = last === "";
    $("again").querySelector("span").textContent = last === "" ? "Same as last" : `Same as last: ${last}`;
  }

  offerTakingAway(label) {
    $("away").hidden = $("away").disabled = label === "";
  }

  // Without a sound in view: no key finds one.
  close() {
    for (const id of ["yes", "again", "unsure", "play", "edges"]) $(id).disabled = true;
    for (const button of labelKeys()) button.disabled = true;
    this.offerTakingAway("");
  }

  // With a sound in view; what is guessed and played has its own time.
  open({ playable }) {
    for (const button of [$("unsure"), ...labelKeys()]) button.disabled = false;
    $("edges").disabled = !playable;
  }
}

function labelKeys() {
  return $("desk").querySelectorAll("button[data-label]");
}

function isNoise(word) {
  const kind = word.split("/")[0];
  return [...document.querySelectorAll(".noise")].some((button) => button.dataset.label === kind);
}

function typeKey(word, index) {
  const item = document.createElement("li");
  const button = document.createElement("button");
  const key = document.createElement("kbd");
  key.textContent = index + 1;
  button.type = "button";
  button.dataset.label = word;
  button.setAttribute("aria-keyshortcuts", key.textContent);
  button.append(key, word);
  item.append(button);
  return item;
}
