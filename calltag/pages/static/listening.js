// The listening page. The server has all that matters: each answer is in the log before the next
// sound is shown. What is kept here is only where in the list this page is, and what it can undo.

import { asked } from "./asking.js";
import { Completion } from "./completion.js";
import { Edges } from "./edges.js";
import { Player, moveNeedle } from "./player.js";
import { alertOf, tell } from "./telling.js";
import { Warning } from "./warning.js";

const $ = (id) => document.getElementById(id);

let numbers = [];
let place = 0;
let edges = null;
let busy = false;
let last = "";
let sitting = 0;
let known = [];
const undone = []; // { answer, before }: answers to take back, the latest last, and `last` before each
const waiting = []; // { work, told }: what is to be done when the page is no longer busy
const ahead = new Map(); // number -> { card, sound }: promises of what is shown and played

const player = new Player((share) => {
  $("play").querySelector("span").textContent = player.playing ? "Stop" : "Play";
  moveNeedle(share);
});
const warning = new Warning($("warning"), () => player.play());
const completion = new Completion($("typed"), $("choices"));

// Talking to the server

// Tells whether the work was done. While the page is busy it is dropped, or waits its turn.
async function asking(work, { waits = false } = {}) {
  if (busy) return waits && new Promise((told) => waiting.push({ work, told }));
  // What is typed before the next sound is there would be said of a sound that nobody heard.
  busy = true;
  $("card").setAttribute("aria-busy", "true");
  try {
    await work();
    return true;
  } catch (error) {
    alertOf(error.message);
    return false;
  } finally {
    busy = false;
    $("card").setAttribute("aria-busy", "false");
    const next = waiting.shift();
    if (next) asking(next.work).then(next.told);
  }
}

// The list

async function load({ reload = true, stay = false } = {}) {
  const query = new URLSearchParams({ order: $("order").value, show: $("show").value });
  if (reload) query.set("reload", "1");
  const queue = await (await asked(`queue?${query}`)).json();
  const here = stay ? shown()?.number : undefined;
  if (here !== undefined && !queue.numbers.includes(here)) queue.numbers.splice(place, 0, here);
  numbers = queue.numbers;
  ahead.clear();
  place = Math.max(0, numbers.indexOf(here));
  if (!stay) known = [];
  stand(queue);
  await (here === undefined ? show() : renew());
}

function stand(standing) {
  $("open").textContent = standing.open;
  $("labels").textContent = standing.labels;
  $("sitting").textContent = sitting;
  completion.words = standing.known;
  const types = standing.known.filter((word) => !isNoise(word) && word !== $("no").dataset.label);
  // Digits stay with their types: new ones come last.
  known = [...known.filter((word) => types.includes(word)), ...types.filter((w) => !known.includes(w))];
  $("none-known").hidden = known.length > 0;
  $("known").replaceChildren(
    ...known.slice(0, 9).map((word, i) => {
      const item = document.createElement("li");
      const button = document.createElement("button");
      const key = document.createElement("kbd");
      button.type = "button";
      button.dataset.label = word;
      button.setAttribute("aria-keyshortcuts", String(i + 1));
      key.textContent = i + 1;
      button.append(key, word);
      item.append(button);
      return item;
    }),
  );
}

// Seconds of the take as the server writes them: 1:02.35.
function clock(seconds) {
  const hundredths = Math.round(seconds * 100);
  const [hours, minutes] = [Math.floor(hundredths / 360000), Math.floor(hundredths / 6000) % 60];
  const tail = ((hundredths % 6000) / 100).toFixed(2).padStart(5, "0");
  return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${tail}` : `${minutes}:${tail}`;
}

function isNoise(word) {
  const kind = word.split("/")[0];
  return [...document.querySelectorAll(".noise")].some((button) => button.dataset.label === kind);
}

function fetched(number) {
  if (!ahead.has(number)) {
    const sound = asked(`sound/${number}/sound.wav`).then((answer) => answer.arrayBuffer());
    const card = asked(`sound/${number}`).then((answer) => answer.text());
    const both = { card, sound };
    ahead.set(number, both);
    // What could not be had is asked for again the next time.
    const drop = () => ahead.get(number) === both && ahead.delete(number);
    sound.catch(drop);
    card.catch(drop);
    if (ahead.size > 12) ahead.delete(ahead.keys().next().value);
  }
  return ahead.get(number);
}

// The sound in view, which alone can be answered for; null while there is none.
function shown() {
  const article = edges && $("card").querySelector(".card");
  return article && { article, number: Number(article.dataset.number) };
}

function standAt() {
  $("place").textContent = numbers.length ? `sound ${place + 1} of ${numbers.length}` : "";
  $("back").disabled = place === 0;
  $("on").disabled = place >= numbers.length;
}

function offer(guess) {
  $("yes").disabled = guess === "";
  $("yes").querySelector("span").textContent = guess === "" ? "Yes (no guess yet)" : "Yes";
}

function offerAgain() {
  $("again").disabled = last === "";
  $("again").querySelector("span").textContent = last === "" ? "Same as last" : `Same as last: ${last}`;
}

// Puts nothing in view: no answer and no key finds a sound.
function clear() {
  edges = null;
  player.clear();
  $("card").replaceChildren();
  for (const id of ["yes", "again", "unsure", "play", "edges"]) $(id).disabled = true;
  for (const button of $("desk").querySelectorAll("button[data-label]")) button.disabled = true;
}

// What is being typed goes on being typed.
function focusTitle() {
  if (document.activeElement !== $("typed")) $("card").querySelector(".card-title")?.focus({ preventScroll: true });
}

async function show() {
  clear();
  standAt();
  const number = numbers[place];
  if (number === undefined) return finished();
  const { card, sound } = fetched(number);
  // Rendered by the server from a template that escapes whatever is put into it.
  $("card").innerHTML = await card;
  const article = $("card").querySelector(".card");
  edges = new Edges(article, (start, end) => {
    article.querySelector(".from").textContent = clock(start);
    article.querySelector(".to").textContent = clock(end);
    tell(`Ends moved: ${start.toFixed(2)} to ${end.toFixed(2)} s. They are kept with the answer.`);
  });
  offer(article.dataset.guess);
  offerAgain();
  for (const button of $("desk").querySelectorAll("button")) {
    if (button.id === "" || ["no", "unsure"].includes(button.id)) button.disabled = false;
  }
  $("edges").disabled = article.dataset.playable !== "yes";
  focusTitle();
  if (article.dataset.playable === "yes") prepare(sound);
  for (const next of numbers.slice(place + 1, place + 3)) fetched(next);
}

// Takes up what is now thought of the sound in view; its ends, its playing and the focus stay.
async function renew() {
  standAt();
  const { article, number } = shown();
  const fresh = document.createElement("template");
  fresh.innerHTML = await fetched(number).card;
  article.dataset.guess = fresh.content.querySelector(".card").dataset.guess;
  article.querySelector(".guess").replaceWith(fresh.content.querySelector(".guess"));
  offer(article.dataset.guess);
  for (const next of numbers.slice(place + 1, place + 3)) fetched(next);
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

async function step(by) {
  const to = place + by;
  if (to < 0 || to > numbers.length) return;
  place = to;
  await show();
}

// Answers

async function say(label) {
  if (await save(label)) await step(1);
}

// Tells whether there was a sound to save it for.
async function save(label) {
  const number = shown()?.number;
  if (number === undefined || label === "") return false;
  const body = { number, label, start_s: edges.start, end_s: edges.end };
  const saved = await (await asked("answer", body)).json();
  undone.push({ answer: saved.answer, before: last });
  ahead.delete(number);
  last = saved.label;
  sitting += 1;
  offerAgain();
  $("undo").disabled = false;
  stand(saved);
  tell(`Saved: ${saved.label}.`);
  return true;
}

async function undo() {
  if (undone.length === 0) return;
  const { answer, before } = undone.at(-1);
  const forget = () => {
    undone.pop();
    $("undo").disabled = undone.length === 0;
  };
  let taken;
  try {
    taken = await (await asked("undo", { answer })).json();
  } catch (error) {
    if (error.status === 400) forget(); // it cannot be taken back any more
    throw error;
  }
  forget();
  last = before;
  sitting -= 1;
  ahead.delete(taken.number);
  stand(taken);
  tell("Taken back.");
  if (!numbers.includes(taken.number)) numbers.splice(place, 0, taken.number);
  place = numbers.indexOf(taken.number);
  await show();
}

function openField(text) {
  $("typed").value = text;
  $("typed").focus();
}

async function play() {
  if (player.playing) return player.stop();
  if (warning.may()) await player.play();
}

function toggle(button, set) {
  const on = button.getAttribute("aria-pressed") !== "true";
  button.setAttribute("aria-pressed", String(on));
  set(on);
  player.update();
}

function moveEnds() {
  if (!edges?.handle("start")) return;
  const there = document.activeElement === edges.handle("start") ? "end" : "start";
  edges.handle(there).focus();
  tell("Arrow keys move this end by a hundredth, with Shift by a tenth of a second. E: the other end. Esc: done.");
}

// Teaching

async function teach() {
  let state = await (await asked("teach", {})).json();
  $("teach").disabled = true;
  $("teaching").hidden = false;
  while (state.running) {
    $("step").textContent = `${state.step}, ${state.seconds.toFixed(0)} s`;
    await new Promise((resolve) => setTimeout(resolve, 400));
    state = await (await asked("teach")).json();
  }
  return state;
}

async function teachAndTell() {
  tell("Teaching. Go on labelling meanwhile.");
  let state;
  try {
    state = await teach();
  } catch (error) {
    return alertOf(error.message);
  } finally {
    $("teach").disabled = false;
    $("teaching").hidden = true;
  }
  if (state.problem) return alertOf(state.problem);
  $("report-text").textContent = state.report;
  $("report").hidden = false;
  const ordered = await asking(() => load({ stay: true }), { waits: true });
  const taught = `Taught in ${state.seconds.toFixed(0)} s`;
  if (ordered) tell(`${taught}, and the list is in order again. What was learnt stands below.`);
  else $("status").textContent = `${taught}. What was learnt stands below.`;
}

// Keys and buttons

const keys = {
  " ": () => $("play").click(),
  l: () => $("loop").click(),
  s: () => $("slow").click(),
  e: moveEnds,
  y: () => $("yes").click(),
  n: () => $("no").click(),
  r: () => $("again").click(),
  q: () => $("unsure").click(),
  u: () => $("undo").click(),
  t: () => openField(""),
  g: () => $("teach").click(),
  ArrowLeft: () => $("back").click(),
  ArrowRight: () => $("on").click(),
};

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || warning.open) return;
  const target = event.target;
  if (event.key === "Escape" && target instanceof HTMLElement) {
    completion.close();
    return $("card").querySelector(".card-title")?.focus();
  }
  if (target.matches("input[type=text], select")) return;
  if ([" ", "Enter"].includes(event.key) && target.matches("button, input, a")) return;
  if (event.key.length === 1 && event.key !== " " && !$("letters").checked) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const noise = document.querySelector(`.noise[data-key="${CSS.escape(key)}"]`);
  const known = /^[1-9]$/.test(key) ? $("known").children[key - 1]?.firstElementChild : null;
  let act;
  if (noise && event.shiftKey) act = () => openField(`${noise.dataset.label}/`);
  else if (noise) act = () => noise.click();
  else if (known) act = () => known.click();
  else if (Object.hasOwn(keys, key)) act = keys[key];
  else return;
  event.preventDefault();
  // A key that is held answers once; only through the list it goes on and on.
  if (!event.repeat || ["ArrowLeft", "ArrowRight"].includes(key)) act();
});

$("desk").addEventListener("click", (event) => {
  const label = event.target.closest("button[data-label]")?.dataset.label;
  if (label !== undefined) asking(() => say(label));
});
$("yes").addEventListener("click", () => {
  const guess = $("card").querySelector(".card")?.dataset.guess ?? "";
  asking(() => say(guess));
});
$("again").addEventListener("click", () => asking(() => say(last)));
$("unsure").addEventListener("click", () => asking(async () => {
  tell("Passed over; nothing was saved.");
  await step(1);
}));
$("undo").addEventListener("click", () => asking(undo));
$("type").addEventListener("submit", (event) => {
  event.preventDefault();
  const typed = $("typed").value.trim();
  if (typed === "") return;
  asking(async () => {
    if (!(await save(typed))) return;
    $("typed").value = "";
    $("typed").blur();
    await step(1);
  });
});
$("play").addEventListener("click", play);
$("loop").addEventListener("click", () => toggle($("loop"), (on) => { player.loop = on; }));
$("slow").addEventListener("click", () => toggle($("slow"), (on) => { player.slow = on; }));
$("edges").addEventListener("click", moveEnds);
$("teach").addEventListener("click", teachAndTell);
$("back").addEventListener("click", () => asking(() => step(-1)));
$("on").addEventListener("click", () => asking(() => step(1)));
for (const id of ["order", "show"]) {
  $(id).addEventListener("change", () => asking(load, { waits: true }));
}

// The server has just read the log, unless the page is loaded again.
asking(() => load({ reload: performance.getEntriesByType("navigation")[0]?.type === "reload" }));
