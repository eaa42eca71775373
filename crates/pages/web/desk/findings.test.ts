import { expect, it } from 'vitest';
import { about, adviceInWords } from './findings.tsx';

it('finds what a finding is about', () => {
  const names = ['room', 'lead voice', 'voice', 'for approval'];
  const at = (where: string) => about({ severity: 'note', code: '', at: where, message: '', remedy: '', at_s: null, revision: null, advised: false }, names);
  expect(at('bus room')).toBe('room');
  expect(at('stem lead voice')).toBe('lead voice');
  expect(at('print for approval')).toBe('for approval');
  expect(at('song')).toBeNull();
});

it('says how advice stands', () => {
  expect(adviceInWords(null, 0)).toContain('can hear every path');
  expect(adviceInWords(true, 0)).toBe('Every path was heard, and nothing was found.');
  expect(adviceInWords(false, 2)).toMatch(/by advice.*changed since/);
});
