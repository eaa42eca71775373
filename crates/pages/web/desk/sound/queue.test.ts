import { describe, expect, it } from 'vitest';
import { Queue } from './queue.ts';
import { unpack } from './unpack.ts';

const RATE = 48_000;

/** A block of 10 ms whose samples count up from its first frame: left positive, right negative. */
function block(first: number): { at_s: number; pcm: Float32Array } {
  const pcm = new Float32Array(960);
  for (let i = 0; i < 480; i += 1) pcm.set([first + i, -(first + i)], 2 * i);
  return { at_s: first / RATE, pcm };
}

function turn(queue: Queue, expected = true): [Float32Array, Float32Array] {
  const sides: [Float32Array, Float32Array] = [new Float32Array(128), new Float32Array(128)];
  queue.take(...sides, expected);
  return sides;
}

describe('the queue', () => {
  it('waits until enough is there, then gives every frame once, in order', () => {
    const queue = new Queue(RATE);
    queue.put(block(0));
    expect(turn(queue)[0].every((x) => x === 0)).toBe(true);
    for (let i = 1; i < 6; i += 1) queue.put(block(480 * i));
    const heard: number[] = [];
    for (let i = 0; i < 22; i += 1) heard.push(...turn(queue)[0]);
    expect(heard.slice(128)).toEqual(Array.from({ length: 21 * 128 }, (_, i) => 128 + i));
    // It begins softly.
    for (let i = 1; i < 128; i += 1) expect(heard[i]).toBeCloseTo((i * (i + 1)) / 128, 3);
    expect(queue.dry).toBe(0);
    expect(queue.at).toBeCloseTo((22 * 128) / RATE, 9);
  });

  it('asks for what is missing to its aim, and once only', () => {
    const queue = new Queue(RATE);
    expect(queue.want(480)).toBe(2880);
    expect(queue.want(480)).toBe(0);
    queue.put(block(0));
    expect(queue.want(480)).toBe(0);
    queue.reconnected();
    expect(queue.want(480)).toBe(2400);
  });

  it('aims higher after it ran dry, up to a quarter of a second, and breaks off without a jump', () => {
    const queue = new Queue(RATE);
    for (let times = 0; times < 8; times += 1) {
      for (let i = 0; i < 30; i += 1) queue.put(block(480 * i));
      let last = 0;
      for (let i = 0; i < 150; i += 1) {
        const [left] = turn(queue);
        if (i > 0 && left[0] === 0) break;
        last = left[127] ?? 0;
      }
      expect(Math.abs(last)).toBeLessThan(480 * 30);
    }
    expect(queue.dry).toBe(8);
    expect(queue.aim).toBe(RATE / 4);
  });

  it('plays the end of a passage although it is short, and does not call the silence after it a fault', () => {
    const queue = new Queue(RATE);
    queue.put(block(100));
    let loudest = 0;
    for (let i = 0; i < 40; i += 1) loudest = Math.max(loudest, ...turn(queue, false)[0]);
    expect(loudest).toBeGreaterThan(500);
    expect([queue.dry, queue.waiting]).toEqual([0, 0]);
  });
});

it('unpacks a message of the desk, and refuses one of another length', () => {
  const message = new ArrayBuffer(16 + 16);
  const head = new DataView(message);
  head.setFloat64(0, 41.5, true);
  head.setUint32(8, 3, true);
  head.setUint32(12, 2, true);
  [0.5, -0.5, 0.25, -0.25].forEach((x, i) => head.setFloat32(16 + 4 * i, x, true));
  const found = unpack(message);
  expect(found?.at_s).toBe(41.5);
  expect([...(found?.pcm ?? [])]).toEqual([0.5, -0.5, 0.25, -0.25]);
  expect(unpack(message.slice(0, 28))).toBeNull();
  expect(unpack(new ArrayBuffer(3))).toBeNull();
});
