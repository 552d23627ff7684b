// Plays one sound at a time: from its start, over and over, at half speed (an octave lower).
// Levels are made safe where the sound is cut; here nothing is raised.

// Puts the needle over the picture where a share of the sound was played; takes it away with null.
export function moveNeedle(share) {
  const needle = document.querySelector(".needle");
  if (needle === null) return;
  needle.hidden = share === null;
  if (share !== null) needle.style.left = `${100 * share}%`;
}

export class Player {
  #context = null;
  #buffer = null;
  #source = null;
  #startedAt = 0;
  #from = 0;
  #frame = 0;
  #wanted = 0;
  loop = false;
  slow = false;

  // `moved` is called with the share of the sound that was played, and with null when it ends.
  constructor(moved) {
    this.moved = moved;
  }

  get playing() {
    return this.#source !== null;
  }

  get length() {
    return this.#buffer === null ? 0 : this.#buffer.duration;
  }

  // Takes an encoded sound as a promise of its bytes; what was playing stops.
  async load(bytes) {
    this.clear();
    const wanted = this.#wanted;
    const encoded = (await bytes).slice(0); // decoding empties what it is given
    const buffer = await this.#audio().decodeAudioData(encoded);
    if (wanted === this.#wanted) this.#buffer = buffer;
    return wanted === this.#wanted;
  }

  // Forgets its sound, and what is on its way.
  clear() {
    this.#wanted += 1;
    this.stop();
    this.#buffer = null;
  }

  async play() {
    const buffer = this.#buffer;
    if (buffer === null) return;
    const context = this.#audio();
    if (context.state !== "running") await context.resume(); // not begun, or the computer slept
    if (buffer !== this.#buffer) return;
    this.stop();
    this.#start(0);
    this.#tick();
  }

  stop() {
    if (this.#source === null) return;
    this.#source.onended = null;
    this.#source.stop();
    this.#source = null;
    cancelAnimationFrame(this.#frame);
    this.moved(null);
  }

  // Takes up changes of `loop` and `slow` while a sound is played.
  update() {
    if (this.#source === null) return;
    const at = this.#position();
    this.#source.onended = null;
    this.#source.stop();
    this.#start(Math.min(at, this.length));
  }

  #audio() {
    this.#context ??= new AudioContext();
    return this.#context;
  }

  #start(at) {
    const source = this.#audio().createBufferSource();
    source.buffer = this.#buffer;
    source.loop = this.loop;
    source.playbackRate.value = this.slow ? 0.5 : 1;
    source.connect(this.#audio().destination);
    source.onended = () => this.stop();
    source.start(0, at);
    this.#source = source;
    this.#from = at;
    this.#startedAt = this.#audio().currentTime;
  }

  #position() {
    const rate = this.#source.playbackRate.value;
    const at = this.#from + (this.#audio().currentTime - this.#startedAt) * rate;
    return this.loop ? at % this.length : at;
  }

  #tick() {
    if (this.#source === null) return;
    this.moved(Math.min(1, this.#position() / this.length));
    this.#frame = requestAnimationFrame(() => this.#tick());
  }
}
