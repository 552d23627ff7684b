// A word before the first sound: nobody's ears are surprised.

export class Warning {
  #dialog;
  #given = false;

  // `go` is called when the user says that the volume is low.
  constructor(dialog, go) {
    this.#dialog = dialog;
    dialog.addEventListener("close", () => {
      if (dialog.returnValue !== "play") return;
      this.#given = true;
      go();
    });
    // The key that asked for a sound may still be down: it is no answer.
    dialog.addEventListener("keydown", (event) => {
      if (event.repeat) event.preventDefault();
    });
  }

  get open() {
    return this.#dialog.open;
  }

  // Tells whether sounds may be played; asks first if that is not known.
  may(ask = true) {
    if (!this.#given && ask && !this.#dialog.open) {
      this.#dialog.returnValue = "";
      this.#dialog.showModal();
    }
    return this.#given;
  }
}
