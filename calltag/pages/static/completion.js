// A text field that offers what has been written before (WAI-ARIA combobox, list autocomplete).
// Down and Up choose, Enter takes what is chosen or else what was typed, Tab completes the first.

export class Completion {
  #input;
  #list;
  #chosen = -1;
  words = [];

  constructor(input, list) {
    this.#input = input;
    this.#list = list;
    input.addEventListener("input", () => this.#offer());
    input.addEventListener("keydown", (event) => this.#key(event));
    input.addEventListener("blur", () => this.close());
    list.addEventListener("pointerdown", (event) => {
      event.preventDefault(); // the field keeps the focus
      const option = event.target.closest("[role=option]");
      if (option) this.#take(option.textContent);
    });
  }

  close() {
    this.#list.hidden = true;
    this.#list.replaceChildren();
    this.#chosen = -1;
    this.#input.setAttribute("aria-expanded", "false");
    this.#input.removeAttribute("aria-activedescendant");
  }

  #offer() {
    const typed = plain(this.#input.value);
    const fitting = typed
      ? this.words
          .filter((word) => plain(word).includes(typed) && word !== this.#input.value)
          .sort((a, b) => plain(b).startsWith(typed) - plain(a).startsWith(typed))
          .slice(0, 8)
      : [];
    if (!fitting.length) return this.close();
    this.#list.replaceChildren(
      ...fitting.map((word, i) => {
        const option = document.createElement("li");
        option.id = `choice-${i}`;
        option.setAttribute("role", "option");
        option.setAttribute("aria-selected", "false");
        option.textContent = word;
        return option;
      }),
    );
    this.#list.hidden = false;
    this.#chosen = -1;
    this.#input.setAttribute("aria-expanded", "true");
    this.#input.removeAttribute("aria-activedescendant");
  }

  #key(event) {
    const options = [...this.#list.children];
    if (this.#list.hidden || !options.length) return;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      const step = event.key === "ArrowDown" ? 1 : -1;
      const n = options.length;
      this.#chosen = this.#chosen < 0 && step < 0 ? n - 1 : (this.#chosen + step + n) % n;
      options.forEach((one, i) => one.setAttribute("aria-selected", String(i === this.#chosen)));
      options[this.#chosen].scrollIntoView({ block: "nearest" });
      this.#input.setAttribute("aria-activedescendant", options[this.#chosen].id);
      event.preventDefault();
    } else if (event.key === "Enter" && this.#chosen >= 0) {
      this.#input.value = options[this.#chosen].textContent;
      this.close(); // and the form is sent
    } else if (event.key === "Tab" && !event.shiftKey) {
      this.#take(options[Math.max(0, this.#chosen)].textContent);
      event.preventDefault();
    }
  }

  #take(word) {
    this.#input.value = word;
    this.close();
  }
}

function plain(text) {
  return text.trim().toLowerCase().normalize("NFC");
}
