// What a page says of itself: a line that is read out, and one that stands out where something failed.

const status = document.getElementById("status");
const failure = document.getElementById("alert");

export function tell(text) {
  status.textContent = text;
  failure.hidden = true;
}

export function alertOf(text) {
  failure.textContent = text.charAt(0).toUpperCase() + text.slice(1);
  failure.hidden = false;
}
