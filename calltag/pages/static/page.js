// What all pages that calltag serves need: to find a part of the page, to turn a button on or off,
// and to say something, in a line that is read out, or in one that stands out where something failed.

export const $ = (id) => document.getElementById(id);

const status = $("status");
const failure = $("alert");

export function tell(text) {
  status.textContent = text;
  failure.hidden = true;
}

// What was told before is over.
export function alertOf(text) {
  status.textContent = "";
  failure.textContent = text.charAt(0).toUpperCase() + text.slice(1);
  failure.hidden = false;
}

// Presses a button that stays pressed, or lets it go again; tells whether it is pressed now.
export function flip(button) {
  const on = button.getAttribute("aria-pressed") !== "true";
  button.setAttribute("aria-pressed", String(on));
  return on;
}
