// Single keys: each presses the button, or goes to the field, that names it in aria-keyshortcuts.

import { $ } from "./page.js";

const ALWAYS = ["ArrowLeft", "ArrowRight"]; // go on and on while they are held

// `deaf` tells whether keys are for something else now, `leave` is called for Escape, `write` to
// open the field with something in it.
export function listenToKeys({ deaf, leave, write }) {
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || deaf()) return;
    if (event.key === "Escape") return leave();
    if (event.target.matches("input[type=text], select")) return;
    if ([" ", "Enter"].includes(event.key) && event.target.matches("button, input, a")) return;
    if (event.key.length === 1 && event.key !== " " && !$("letters").checked) return;
    const meant = named(event.key);
    if (!meant) return;
    event.preventDefault();
    if (event.repeat && !ALWAYS.includes(event.key)) return; // a key that is held answers once
    if (meant.matches("input")) write("");
    else if (meant.matches(".noise") && event.shiftKey) write(`${meant.dataset.label}/`);
    else meant.click();
  });
}

function named(key) {
  const name = key === " " ? "Space" : key.length === 1 ? key.toUpperCase() : key;
  return [...document.querySelectorAll("[aria-keyshortcuts]")].find(
    (one) => one.getAttribute("aria-keyshortcuts") === name,
  );
}
