// The library page: ask, listen, pick, hand out. What is picked is kept while sheets are turned, and
// when the page is loaded again.

import { asked } from "./asking.js";
import { $, alertOf, flip, tell } from "./page.js";
import { Picked } from "./picked.js";
import { Player, moveNeedle } from "./player.js";
import { Warning } from "./warning.js";

const picked = new Picked($("question").dataset.library);
let chosen = 0;
let latest = 0;
let question = 0;
let copying = false;

const player = new Player((share) => {
  const word = $("play")?.querySelector("span");
  if (word) word.textContent = player.playing ? "Stop" : "Play";
  moveNeedle(share);
});
const warning = new Warning($("warning"), () => player.play());

const failed = (error) => alertOf(error.message);

// The answer to a question, or null once another was asked: then it does not matter how it ends.
async function textOf(path, matters) {
  try {
    const text = await (await asked(path)).text();
    return matters() ? text : null;
  } catch (error) {
    if (matters()) throw error;
    return null;
  }
}

async function find(offset = 0, more = "") {
  const wanted = ++question;
  const query = new URLSearchParams(new FormData($("question")));
  query.set("offset", offset);
  const sheet = await textOf(`found?${query}`, () => wanted === question);
  if (sheet === null) return;
  const focused = $("found").contains(document.activeElement);
  const way = turns().indexOf(document.activeElement);
  // Rendered by the server from a template that escapes whatever is put into it.
  $("found").innerHTML = sheet;
  for (const row of rows()) {
    row.querySelector(".pick").checked = picked.has(Number(row.dataset.key));
    row.classList.toggle("chosen", Number(row.dataset.key) === chosen);
  }
  if (focused) {
    const turn = turns()[way];
    (turn && !turn.disabled ? turn : $("found").querySelector(".hear"))?.focus();
  }
  const total = Number($("found").querySelector(".sheet").dataset.total);
  tell((total === 1 ? "1 kept call found." : `${total} kept calls found.`) + more);
}

function turns() {
  return [...$("found").querySelectorAll(".turn")];
}

function rows() {
  return [...$("found").querySelectorAll("tr[data-key]")];
}

async function hear(row) {
  const wanted = ++latest;
  chosen = Number(row.dataset.key);
  for (const one of rows()) {
    one.classList.toggle("chosen", one === row);
    one.querySelector(".hear").removeAttribute("aria-current");
  }
  row.querySelector(".hear").setAttribute("aria-current", "true");
  player.clear();
  if ($("play")) $("play").disabled = true;
  const card = await textOf(`kept/${chosen}`, () => wanted === latest);
  if (card === null) return;
  $("kept").innerHTML = card;
  row.querySelector(".hear").scrollIntoView({ block: "nearest" }); // the card may have moved it away
  $("loop").setAttribute("aria-pressed", String(player.loop));
  $("slow").setAttribute("aria-pressed", String(player.slow));
  if ($("kept").querySelector(".card").dataset.playable !== "yes") return;
  const sound = asked(`kept/${chosen}/sound.wav`).then((answer) => answer.arrayBuffer());
  if (!(await player.load(sound)) || wanted !== latest) return;
  $("play").disabled = false;
  if (warning.may()) await player.play();
}

function playOrStop() {
  if (player.playing) player.stop();
  else if (player.length && warning.may()) player.play();
}

// Over and over, or at half speed: `way` is the button's id and the player's word for it.
function toggle(way) {
  if (!$(way)) return;
  player[way] = flip($(way));
  player.update();
}

function pick(row, on) {
  const key = Number(row.dataset.key);
  row.querySelector(".pick").checked = on;
  if (on) picked.add(key, row.dataset.id);
  else picked.delete(key);
  count();
}

function count() {
  const n = picked.size;
  $("picked").textContent = n;
  $("hand-out").textContent = n ? `Copy ${n === 1 ? "1 call" : `${n} calls`} to the folder` : "Copy to the folder";
  $("hand-out").disabled = $("none").disabled = picked.size === 0;
}

async function handOut() {
  if (copying || picked.size === 0) return;
  const body = { keys: picked.keys, folder: $("folder").value };
  if ($("loudness").value) body.loudness_lufs = Number($("loudness").value);
  copying = true; // its button keeps the focus meanwhile
  $("report").hidden = true;
  tell("Copying.");
  try {
    const report = await (await asked("hand-out", body)).json();
    $("report-text").textContent = report.lines.join("\n");
    $("report").hidden = false;
    $("report").focus();
    tell("Handed out.");
  } finally {
    copying = false;
  }
}

function goToHandOut() {
  if (picked.size) $("hand-out").focus();
  else alertOf("Nothing is picked yet: tick calls in the list, or press P on one.");
}

function here() {
  return document.activeElement?.closest("tr[data-key]") ?? $("found").querySelector("tr.chosen");
}

function walk(by) {
  const all = rows();
  const at = all.indexOf(here());
  const next = all[at < 0 ? 0 : at + by];
  next?.querySelector(".hear").focus();
}

$("question").addEventListener("submit", (event) => {
  event.preventDefault();
  find().catch(failed);
});
$("question").addEventListener("change", () => find().catch(failed));
$("found").addEventListener("click", (event) => {
  const turn = event.target.closest(".turn");
  if (turn) find(turn.dataset.offset).catch(failed);
  const button = event.target.closest(".hear");
  if (button) hear(button.closest("tr")).catch(failed);
});
$("found").addEventListener("change", (event) => {
  if (event.target.matches(".pick")) pick(event.target.closest("tr"), event.target.checked);
});
$("kept").addEventListener("click", (event) => {
  const id = event.target.closest("button")?.id;
  if (id === "play") playOrStop();
  if (id === "loop" || id === "slow") toggle(id);
});
$("none").addEventListener("click", () => {
  picked.clear();
  for (const row of rows()) row.querySelector(".pick").checked = false;
  (here()?.querySelector(".hear") ?? $("words")).focus({ preventScroll: true });
  count();
});
$("to-out").addEventListener("click", (event) => {
  event.preventDefault();
  goToHandOut();
});
$("out").addEventListener("submit", (event) => {
  event.preventDefault();
  handOut().catch(failed);
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || warning.open) return;
  if (event.target.matches("input[type=text], select")) return;
  if (event.key.length === 1 && event.key !== " " && !$("letters").checked) return;
  const row = here();
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (key === "ArrowDown") walk(1);
  else if (key === "ArrowUp") walk(-1);
  else if (key === " " && event.target.matches(".hear") && Number(row.dataset.key) === chosen) playOrStop();
  else if (key === " " && !event.target.matches("button, input, a")) playOrStop();
  else if (key === "p" && row) pick(row, !picked.has(Number(row.dataset.key)));
  else if (key === "h") goToHandOut();
  else if (key === "l") toggle("loop");
  else if (key === "s") toggle("slow");
  else return;
  event.preventDefault();
});

async function begin() {
  const gone = await picked.restore().catch(() => 0);
  count();
  const lost = gone ? ` ${gone} that ${gone === 1 ? "was" : "were"} picked before ${gone === 1 ? "is" : "are"} gone.` : "";
  await find(0, (picked.size ? ` ${picked.size} picked before.` : "") + lost);
}

begin().catch(failed);
