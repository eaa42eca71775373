// Brings the sound of the desk to the loudspeakers: a worker on the line, a worklet at the sound card.
import { effect } from '@preact/signals';
import { address, ask } from '../link.ts';
import { dry, heardAt, now, view } from '../state.ts';
import type { Heard, Opened, Ordered } from './messages.ts';
// oxlint-disable-next-line import/default -- made by the bundler
import lineUrl from './worker.ts?worker&url';
// oxlint-disable-next-line import/default -- made by the bundler
import workletUrl from './worklet.ts?worker&url';

/** Nearer to the end than this, playing begins from the start. */
const END_S = 0.2;

let context: AudioContext | null = null;
let ready: Promise<void> | null = null;

/** Starts sound. A browser lets a page be heard only after its user did something, so this is called from a key or click. */
async function start(rate: number): Promise<void> {
  context = new AudioContext({ sampleRate: rate, latencyHint: 'interactive' });
  await context.audioWorklet.addModule(workletUrl);
  const node = new AudioWorkletNode(context, 'loudspeaker', { numberOfInputs: 0, outputChannelCount: [2] });
  const line = new Worker(lineUrl, { type: 'module' });
  const { port1, port2 } = new MessageChannel();
  node.port.postMessage({ line: port1 } satisfies Ordered, [port1]);
  line.postMessage({ address: address('/sound'), worklet: port2 } satisfies Opened, [port2]);
  listenAgain = () => line.postMessage('again');
  node.port.onmessage = ({ data }: MessageEvent<Heard>) => hearing(data);
  effect(() => node.port.postMessage({ expected: now.value?.playing ?? false } satisfies Ordered));
  expect = (expected) => node.port.postMessage({ expected } satisfies Ordered);
  node.connect(context.destination);
}

let listenAgain: () => void = () => {};
let expect: (expected: boolean) => void = () => {};

function hearing({ at_s, dry: times }: Heard): void {
  dry.value = times;
  if (at_s !== null && now.value?.playing) heardAt.value = Math.max(0, at_s - (context?.outputLatency ?? 0));
}

/** Plays if it rests, and rests if it plays. */
export async function playOrPause(): Promise<void> {
  const rate = view.value?.song.rate_hz;
  if (rate === undefined) return;
  if (now.value?.playing) {
    expect(false);
    ask({ ask: 'pause' });
    return;
  }
  // Or a sound device of the machine plays, and the page does not.
  if (!view.value?.device) {
    ready ??= start(rate);
    await ready;
    await context?.resume();
    listenAgain();
  }
  const { length_s, tail_s } = view.value?.song ?? { length_s: 0, tail_s: 0 };
  if (heardAt.value >= length_s + tail_s - END_S) seek(0);
  ask({ ask: 'play' });
}

/** Goes to a place. */
export function seek(to_s: number): void {
  heardAt.value = to_s;
  ask({ ask: 'seek', to_s });
}
