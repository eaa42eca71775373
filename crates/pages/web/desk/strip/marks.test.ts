import { expect, it } from 'vitest';
import type { Finding } from '../protocol.ts';
import { marks } from './marks.tsx';

it('pins findings that have a place, under their numbers in the list', () => {
  const finding = (at_s: number | null): Finding => ({ severity: 'warn', code: '', at: 'song', message: '', remedy: '', at_s, revision: null });
  expect(marks([finding(null), finding(0), finding(64.3)]).map(({ number, at }) => [number, at])).toEqual([[2, 0], [3, 64.3]]);
});
