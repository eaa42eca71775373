import { expect, it } from 'vitest';
import type { View } from '../protocol.ts';
import { neighbour, passageAt, sane, sectionAt, sectionOf, spanOf } from './passage.ts';

const parts = {
  song: { length_s: 90 } as View['song'],
  sections: [{ name: 'intro', from_s: 2 }, { name: 'verse', from_s: 12 }, { name: 'chorus', from_s: 33 }],
};

it('knows where sections lie', () => {
  expect(spanOf(parts, 1)).toEqual([12, 33]);
  expect(spanOf(parts, 2)).toEqual([33, 90]);
  expect(spanOf(parts, -1)).toEqual([0, 2]);
  expect([1, 2, 32.9, 89].map((at) => sectionAt(parts, at))).toEqual([-1, 0, 1, 2]);
  expect(sectionOf(parts, [12, 33])).toBe(1);
  expect(sectionOf(parts, [12, 30])).toBe(-1);
});

it('goes from section to section', () => {
  expect(neighbour(parts, 13, 1)).toBe(33);
  expect(neighbour(parts, 12.4, -1)).toBe(2);
  expect(neighbour(parts, 20, -1)).toBe(12);
  expect(neighbour(parts, 50, 1)).toBe(90);
});

it('sets a passage in order and inside the song', () => {
  expect(sane([40, 20], 90)).toEqual([20, 40]);
  expect(sane([89.9, 89.95], 90)).toEqual([89.75, 90]);
});

it('takes the section that is heard, or a stretch of a long one', () => {
  expect(passageAt(parts, 20)).toEqual([12, 33]);
  expect([33, 52, 54, 89].map((at) => passageAt(parts, at))).toEqual([[33, 53], [33, 53], [53, 90], [53, 90]]);
  const plain = { ...parts, sections: [] };
  expect(passageAt(plain, 45)).toEqual([40, 60]);
});
