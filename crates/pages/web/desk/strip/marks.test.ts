import { expect, it } from 'vitest';
import type { Finding } from '../protocol.ts';
import { apart, marks } from './marks.tsx';

it('pins findings that have a place, under their numbers in the list', () => {
  const finding = (at_s: number | null): Finding => ({ severity: 'warn', code: '', at: 'song', message: '', remedy: '', at_s, revision: null, advised: false });
  expect(marks([finding(null), finding(0), finding(64.3)]).map(({ number, at }) => [number, at])).toEqual([[2, 0], [3, 64.3]]);
});

it('sets numbers beside each other that are about the same place', () => {
  expect(apart([0, 0, 100, 5, 110], 16)).toEqual([0, 16, 100, 32, 116]);
  expect(apart([40, 20], 16)).toEqual([40, 20]);
});
