// Plays what the worker brings, on the thread of the sound.
import type { Brought, Heard, Ordered, Wanted } from './messages.ts';
import { Queue } from './queue.ts';

declare const sampleRate: number;
declare class AudioWorkletProcessor {
  readonly port: MessagePort;
}
declare function registerProcessor(name: string, processor: new () => AudioWorkletProcessor): void;

/** The desk sends blocks of 10 ms. */
const BLOCK_S = 0.01;
/** Blocks of 128 frames between two reports to the page. */
const REPORT_EVERY = 8;

class Loudspeaker extends AudioWorkletProcessor {
  #queue = new Queue(sampleRate);
  #line: MessagePort | null = null;
  #expected = false;
  #turn = 0;

  constructor() {
    super();
    this.port.onmessage = ({ data }: MessageEvent<Ordered>) => {
      if ('expected' in data) this.#expected = data.expected;
      else this.#connect(data.line);
    };
  }

  #connect(line: MessagePort): void {
    this.#line = line;
    line.onmessage = ({ data }: MessageEvent<Brought>) => {
      if (data === 'reconnected') this.#queue.reconnected();
      else this.#queue.put(data);
      this.#ask();
    };
  }

  #ask(): void {
    const frames: Wanted = this.#queue.want(sampleRate * BLOCK_S);
    if (frames > 0) this.#line?.postMessage(frames);
  }

  process(_inputs: Float32Array[][], [output]: Float32Array[][]): boolean {
    const [left, right] = output ?? [];
    if (!left || !right) return true;
    const at_s = this.#queue.at;
    this.#queue.take(left, right, this.#expected);
    this.#ask();
    this.#turn += 1;
    if (this.#turn % REPORT_EVERY === 0) {
      const waiting_ms = (this.#queue.waiting / sampleRate) * 1000;
      this.port.postMessage({ at_s, dry: this.#queue.dry, waiting_ms } satisfies Heard);
    }
    return true;
  }
}

registerProcessor('loudspeaker', Loudspeaker);
