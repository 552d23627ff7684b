// The listening page. The server has all that matters: each answer is in the log before the next
// sound is shown. What is kept here is only where in the list this page is, and what it can undo.

import { Ahead } from "./ahead.js";
import { Answers } from "./answers.js";
import { asked } from "./asking.js";
import { Completion } from "./completion.js";
import { Desk } from "./desk.js";
import { Edges, clock } from "./edges.js";
import { Gate } from "./gate.js";
import { listenToKeys } from "./keys.js";
import { $, alertOf, flip, tell } from "./page.js";
import { Player, moveNeedle } from "./player.js";
import { teach } from "./teaching.js";
import { Warning } from "./warning.js";

let numbers = [];
let place = 0;
let edges = null;

const ahead = new Ahead();
const answers = new Answers();
const completion = new Completion($("typed"), $("choices"));
const desk = new Desk();
const gate = new Gate($("card"));
const player = new Player((share) => {
  $("play").querySelector("span").textContent = player.playing ? "Stop" : "Play";
  moveNeedle(share);
});
const warning = new Warning($("warning"), () => player.play());

// The list

async function load({ reload = true, stay = false } = {}) {
  const query = new URLSearchParams({ order: $("order").value, show: $("show").value });
  if (reload) query.set("reload", "1");
  const queue = await (await asked(`queue?${query}`)).json();
  const here = stay ? shown()?.number : undefined;
  if (here !== undefined) keepInView(queue.numbers, here);
  numbers = queue.numbers;
  ahead.clear();
  place = Math.max(0, numbers.indexOf(here));
  if (!stay) desk.forgetTypes();
  stand(queue);
  await (here === undefined ? show() : renew());
}

// What would teach most comes right after the sound in view, not before it.
function keepInView(queue, here) {
  const at = queue.indexOf(here);
  const first = $("order").value === "useful";
  if (at >= 0 && first) queue.splice(at, 1);
  if (at < 0 || first) queue.splice(first ? 0 : place, 0, here);
}

function stand(standing) {
  $("open").textContent = standing.open;
  $("labels").textContent = standing.labels;
  $("sitting").textContent = answers.sitting;
  completion.words = standing.known;
  desk.types(standing.known);
}

function standAt() {
  $("place").textContent = place < numbers.length ? `sound ${place + 1} of ${numbers.length}` : "";
  $("back").disabled = place === 0;
  $("on").disabled = place >= numbers.length;
}

async function step(by) {
  const to = place + by;
  if (to < 0 || to > numbers.length) return;
  place = to;
  await show();
}

// The sound in view

// It alone can be answered for; null while there is none.
function shown() {
  const article = edges && $("card").querySelector(".card");
  return article && { article, number: Number(article.dataset.number) };
}

async function show() {
  edges = null;
  player.clear();
  $("card").replaceChildren();
  desk.close();
  standAt();
  const number = numbers[place];
  if (number === undefined) return finished();
  const { card, sound } = ahead.get(number);
  // Rendered by the server from a template that escapes whatever is put into it.
  $("card").innerHTML = await card;
  const article = $("card").querySelector(".card");
  const playable = article.dataset.playable === "yes";
  edges = new Edges(article, (start, end) => {
    article.querySelector(".from").textContent = clock(start);
    article.querySelector(".to").textContent = clock(end);
    tell(`Ends moved: ${start.toFixed(2)} to ${end.toFixed(2)} s. They are kept with the answer.`);
  });
  desk.open({ playable });
  desk.offerGuess(article.dataset.guess);
  desk.offerAgain(answers.last);
  desk.offerTakingAway(article.dataset.label);
  focusTitle();
  if (playable) prepare(sound);
  lookAhead();
}

// Takes up what is now thought of the sound in view; its ends, its playing and the focus stay.
async function renew() {
  standAt();
  const { article, number } = shown();
  const fresh = document.createElement("template");
  fresh.innerHTML = await ahead.get(number).card;
  article.dataset.guess = fresh.content.querySelector(".card").dataset.guess;
  article.querySelector(".guess").replaceWith(fresh.content.querySelector(".guess"));
  desk.offerGuess(article.dataset.guess);
  lookAhead();
}

function lookAhead() {
  for (const next of numbers.slice(place + 1, place + 3)) ahead.get(next);
}

// Goes on by itself: who knows the sound from its picture need not wait for it.
async function prepare(sound) {
  try {
    if (!(await player.load(sound))) return;
    $("play").disabled = false;
    if (warning.may(false) && $("by-itself").checked) await player.play();
  } catch (error) {
    alertOf(error.message);
  }
}

function finished() {
  const box = document.createElement("div");
  box.className = "finished";
  const title = document.createElement("h2");
  title.className = "card-title typed";
  title.tabIndex = -1;
  title.textContent = numbers.length ? "That was the last sound of this list." : "There is no sound in this list.";
  const text = document.createElement("p");
  text.textContent = Number($("labels").textContent)
    ? "Press G to teach from the labels, or choose other sounds above. This page can be closed: all answers are in the log."
    : "Choose other sounds above, or add clips to the log with calltag log.";
  box.append(title, text);
  $("card").replaceChildren(box);
  focusTitle();
}

// What is being typed goes on being typed.
function focusTitle() {
  if (document.activeElement !== $("typed")) $("card").querySelector(".card-title")?.focus({ preventScroll: true });
}

async function play() {
  if (player.playing) return player.stop();
  if (warning.may()) await player.play();
}

function moveEnds() {
  if (!edges?.handle("start")) return;
  const there = document.activeElement === edges.handle("start") ? "end" : "start";
  edges.handle(there).focus();
  tell("Arrow keys move this end by a hundredth, with Shift by a tenth of a second. E: the other end. Esc: done.");
}

// Answers

async function say(label) {
  if (await save(label)) await step(1);
}

// Tells whether there was a sound to save it for.
async function save(label) {
  const number = shown()?.number;
  if (number === undefined || label === "") return false;
  const saved = await answers.save({ number, label, start_s: edges.start, end_s: edges.end });
  ahead.forget(number);
  desk.offerAgain(answers.last);
  $("undo").disabled = false;
  stand(saved);
  tell(`Saved: ${saved.label}.`);
  return true;
}

async function takeAway() {
  const number = shown()?.number;
  if (number === undefined) return;
  const taken = await answers.takeAway(number);
  ahead.forget(number);
  $("undo").disabled = false;
  stand(taken);
  tell("The label is taken away. U gives it back.");
  await show();
}

async function undo() {
  if (!answers.any) return;
  let taken;
  try {
    taken = await answers.takeBack();
  } finally {
    $("undo").disabled = !answers.any;
  }
  ahead.forget(taken.number);
  stand(taken);
  tell("Taken back.");
  if (!numbers.includes(taken.number)) numbers.splice(place, 0, taken.number);
  place = numbers.indexOf(taken.number);
  await show();
}

function write(text) {
  $("typed").value = text;
  $("typed").focus();
}

async function saveTyped() {
  if (!(await save($("typed").value.trim()))) return;
  $("typed").value = "";
  $("typed").blur();
  await step(1);
}

async function passOver() {
  tell("Passed over; nothing was saved.");
  await step(1);
}

/** A line of the report; one that is set in is an entry, whose columns lie apart where there is room. */
function lineOf(line) {
  const span = document.createElement("span");
  const [, entry, figures] = line.match(/^  (.*?\S)(  +\S.*)?$/) ?? [];
  if (!entry) span.textContent = `${line}\n`;
  else {
    span.className = "entry";
    for (const text of [`  ${entry}`, `${figures ?? ""}\n`]) {
      const part = document.createElement("span");
      part.textContent = text;
      span.append(part);
    }
  }
  return span;
}

async function teachAndTell() {
  tell("Teaching. Go on labelling meanwhile.");
  let state;
  try {
    state = await teach();
  } catch (error) {
    return alertOf(error.message);
  }
  $("report-text").replaceChildren(...state.report.split("\n").map(lineOf));
  $("report").hidden = false;
  const ordered = await gate.pass(() => load({ stay: true }), { waits: true });
  const taught = `Taught in ${state.seconds.toFixed(0)} s`;
  const next = $("order").value === "useful" ? ": what would teach most comes next" : "";
  if (ordered) {
    tell(`${taught}, and the list is in order again${next}. What was learnt stands below.`);
  } else $("status").textContent = `${taught}. What was learnt stands below.`;
}

// Buttons and keys

const once = (work) => () => gate.pass(work);

$("desk").addEventListener("click", (event) => {
  const label = event.target.closest("button[data-label]")?.dataset.label;
  if (label !== undefined) gate.pass(() => say(label));
});
$("yes").addEventListener("click", once(() => say(shown()?.article.dataset.guess ?? "")));
$("again").addEventListener("click", once(() => say(answers.last)));
$("unsure").addEventListener("click", once(passOver));
$("undo").addEventListener("click", once(undo));
$("away").addEventListener("click", once(takeAway));
$("type").addEventListener("submit", (event) => {
  event.preventDefault();
  gate.pass(saveTyped);
});
$("play").addEventListener("click", play);
for (const way of ["loop", "slow"]) {
  $(way).addEventListener("click", () => {
    player[way] = flip($(way));
    player.update();
  });
}
$("edges").addEventListener("click", moveEnds);
$("teach").addEventListener("click", teachAndTell);
$("back").addEventListener("click", once(() => step(-1)));
$("on").addEventListener("click", once(() => step(1)));
for (const id of ["order", "show"]) {
  $(id).addEventListener("change", () => gate.pass(load, { waits: true }));
}
listenToKeys({
  deaf: () => warning.open,
  leave() {
    completion.close();
    $("card").querySelector(".card-title")?.focus();
  },
  write,
});

// The server has just read the log, unless the page is loaded again.
gate.pass(() => load({ reload: performance.getEntriesByType("navigation")[0]?.type === "reload" }));
