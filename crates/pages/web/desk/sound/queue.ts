// The frames that wait to be heard. Nothing here knows of audio contexts, so that it can be tested as it is.

/** Frames as the desk sends them: stereo, interleaved. */
export type Block = {
  /** Song time of the first frame, in seconds. */
  at_s: number;
  pcm: Float32Array;
};

/** Milliseconds of sound to keep waiting: at first, and at most after it ran dry. */
const FIRST_MS = 60;
const MOST_MS = 250;
const MORE = 1.5;
/** Part of the aim that has to be there before sound starts. */
const START_PART = 0.6;
/** Seconds without news after which sound starts with less: the end of a passage is shorter than the aim. */
const NEWS_S = 0.05;
/** Frames over which sound begins, so that it never begins with a jump. */
const FADE = 128;
/** By how much the last value dies away, frame by frame, where sound breaks off. */
const DYING = 0.99;

export class Queue {
  #blocks: Block[] = [];
  #used = 0;
  #waiting = 0;
  #asked = 0;
  #sounding = false;
  #fade = 0;
  #last: [number, number] = [0, 0];
  #quiet = 0;
  readonly #rate: number;
  /** How many frames to keep waiting. */
  aim: number;
  /** How often it ran dry while sound was expected. */
  dry = 0;

  constructor(rate: number) {
    this.#rate = rate;
    this.aim = (rate * FIRST_MS) / 1000;
  }

  /** Frames that wait. */
  get waiting(): number {
    return this.#waiting;
  }

  /** Song time of the next frame, or nothing if none waits. */
  get at(): number | null {
    const first = this.#blocks[0];
    return first ? first.at_s + this.#used / this.#rate : null;
  }

  put(block: Block): void {
    const frames = block.pcm.length / 2;
    if (frames === 0) return;
    this.#blocks.push(block);
    this.#waiting += frames;
    this.#asked = Math.max(0, this.#asked - frames);
    this.#quiet = 0;
  }

  /** Frames to ask for now: what is missing to the aim and not on its way. It counts as asked for. */
  want(least: number): number {
    const missing = Math.floor(this.aim - this.#waiting - this.#asked);
    if (missing < least) return 0;
    this.#asked += missing;
    return missing;
  }

  /** Forgets what was asked for: the line is a new one. */
  reconnected(): void {
    this.#asked = 0;
  }

  /** Fills both channels; `expected` says whether silence would be a fault. */
  take(left: Float32Array, right: Float32Array, expected: boolean): void {
    this.#quiet += left.length;
    if (!this.#sounding && this.#enough()) {
      this.#sounding = true;
      this.#fade = 0;
    }
    let done = 0;
    while (this.#sounding && done < left.length && this.#blocks.length > 0) done = this.#copy(left, right, done);
    if (this.#sounding && done < left.length) this.#broke(expected);
    for (let i = done; i < left.length; i += 1) {
      left[i] = this.#last[0] *= DYING;
      right[i] = this.#last[1] *= DYING;
    }
  }

  #enough(): boolean {
    const rested = this.#quiet > NEWS_S * this.#rate;
    return this.#waiting >= this.aim * START_PART || (this.#waiting > 0 && rested);
  }

  #copy(left: Float32Array, right: Float32Array, from: number): number {
    const block = this.#blocks[0] as Block;
    const count = Math.min(left.length - from, block.pcm.length / 2 - this.#used);
    for (let i = 0; i < count; i += 1) {
      this.#fade = Math.min(1, this.#fade + 1 / FADE);
      const at = 2 * (this.#used + i);
      left[from + i] = (block.pcm[at] ?? 0) * this.#fade;
      right[from + i] = (block.pcm[at + 1] ?? 0) * this.#fade;
    }
    this.#last = [left[from + count - 1] ?? 0, right[from + count - 1] ?? 0];
    this.#used += count;
    this.#waiting -= count;
    if (this.#used * 2 >= block.pcm.length) {
      this.#blocks.shift();
      this.#used = 0;
    }
    return from + count;
  }

  #broke(expected: boolean): void {
    this.#sounding = false;
    if (!expected) return;
    this.dry += 1;
    this.aim = Math.min((this.#rate * MOST_MS) / 1000, this.aim * MORE);
  }
}
