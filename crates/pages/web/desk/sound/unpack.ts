// Sound as it comes over the line: little endian, 64-bit float seconds of song time, 32-bit generation, 32-bit count of
// frames, then 32-bit float stereo, interleaved.
import type { Block } from './queue.ts';

const HEAD = 16;

/** The block of a message, or nothing if the message is not as long as it says. */
export function unpack(message: ArrayBuffer): Block | null {
  if (message.byteLength < HEAD) return null;
  const head = new DataView(message);
  const frames = head.getUint32(12, true);
  if (message.byteLength !== HEAD + frames * 8) return null;
  return { at_s: head.getFloat64(0, true), pcm: new Float32Array(message.slice(HEAD)) };
}
