// The sheet: sort and choose takes and calls, and play one sound at a time.

const form = document.getElementById("sift");
const shelf = document.getElementById("takes");
const takes = [...shelf.children].map((element) => ({
  element,
  list: element.querySelector(".calls"),
  calls: [...element.querySelectorAll(".call")],
  about: `${element.querySelector("h2").textContent} ${element.querySelector(".why").textContent}`.toLowerCase(),
}));

const value = (id) => document.getElementById(id).value;
const number = (element, name) => Number(element.dataset[name]);

// The greatest first; by number or time, the least.
function ordered(elements, name, first) {
  const rising = name === "number" || name === "start";
  return elements.sort((a, b) =>
    (rising ? 1 : -1) * (number(a, name) - number(b, name)) || number(a, first) - number(b, first));
}

function choose() {
  const words = value("words").toLowerCase().split(/\s+/).filter(Boolean);
  const [type, verdict, grade] = [value("type"), value("verdict"), value("grade")];
  const sure = Number(value("sure"));
  let shownTakes = 0;
  let shownCalls = 0;
  for (const take of takes) {
    const says = words.filter((word) => !take.about.includes(word));
    let fitting = 0;
    for (const call of take.calls) {
      const name = call.dataset.type.toLowerCase();
      const fits = (!type || call.dataset.type === type)
        && (!grade || call.dataset.grade === grade)
        && number(call, "sure") >= sure
        && says.every((word) => name.includes(word));
      call.hidden = !fits;
      if (fits) fitting += 1;
    }
    const ofCalls = Boolean(type || grade || sure || says.length);
    take.element.hidden = Boolean(verdict && take.element.dataset.verdict !== verdict)
      || (ofCalls && fitting === 0);
    if (!take.element.hidden) {
      shownTakes += 1;
      shownCalls += fitting;
    }
  }
  const plural = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;
  document.getElementById("count").textContent = `${plural(shownTakes, "take")}, ${plural(shownCalls, "call")}`;
  document.getElementById("none").hidden = shownTakes > 0;
}

function sortTakes() {
  shelf.append(...ordered(takes.map((take) => take.element), value("take-order"), "number"));
}

function sortCalls() {
  const name = value("call-order");
  for (const take of takes) {
    if (take.list) take.list.append(...ordered(take.calls, name, "start"));
  }
}

form.addEventListener("submit", (event) => event.preventDefault());
form.addEventListener("input", choose);
form.addEventListener("change", (event) => {
  if (event.target.id === "take-order") sortTakes();
  if (event.target.id === "call-order") sortCalls();
});
function all() {
  choose();
  sortTakes();
  sortCalls();
}
form.addEventListener("reset", () => setTimeout(all));
addEventListener("pageshow", all); // a browser that comes back has kept what was chosen
form.hidden = false;

// A link to something that is not shown, or no longer where it was, shows it.
addEventListener("click", (event) => {
  const link = event.target.closest?.('a[href^="#"]');
  const target = link && document.getElementById(link.hash.slice(1));
  if (target?.closest("[hidden]")) form.reset();
  if (target) setTimeout(() => {
    (target.querySelector(".play") ?? target).focus?.({ preventScroll: true });
    target.scrollIntoView();
  });
});

// On paper there is no scrolling to what was not loaded yet.
addEventListener("beforeprint", () => {
  for (const image of document.images) image.loading = "eager";
});

const audio = new Audio();
let pressed = null;

// The word on a button; the name of its call comes after it.
function say(button, word) {
  button.firstElementChild.textContent = word;
}

function stop() {
  if (pressed === null) return;
  audio.pause();
  pressed.setAttribute("aria-pressed", "false");
  say(pressed, "Play");
  const needle = pressed.closest(".call").querySelector(".needle");
  if (needle) needle.hidden = true;
  pressed = null;
}

function play(button) {
  const again = pressed === button;
  stop();
  if (again) return;
  pressed = button;
  button.setAttribute("aria-pressed", "true");
  say(button, "Stop");
  audio.src = button.dataset.sound;
  audio.play().then(follow, (error) => {
    if (error.name === "AbortError") return; // stopped, or another was played, before it began
    if (pressed === button) stop();
    say(button, "Cannot be played here");
  });
}

function follow() {
  if (pressed === null) return;
  const needle = pressed.closest(".call").querySelector(".needle");
  if (needle && audio.duration > 0) {
    needle.hidden = false;
    needle.style.left = `${Math.min(100, (100 * audio.currentTime) / audio.duration)}%`;
  }
  requestAnimationFrame(follow);
}

audio.addEventListener("ended", stop);
shelf.addEventListener("click", (event) => {
  const button = event.target.closest(".play");
  if (button) play(button);
});
shelf.addEventListener("keydown", (event) => {
  const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
  if (!step || !event.target.matches(".play") || event.ctrlKey || event.altKey || event.metaKey) return;
  const buttons = [...shelf.querySelectorAll(".take:not([hidden]) .call:not([hidden]) .play")];
  const next = buttons[buttons.indexOf(event.target) + step];
  if (next) {
    event.preventDefault();
    next.focus({ preventScroll: true });
    next.closest(".call").scrollIntoView({ block: "nearest" });
  }
});
