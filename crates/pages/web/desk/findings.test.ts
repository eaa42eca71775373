import { expect, it } from 'vitest';
import { about } from './findings.tsx';

it('finds what a finding is about', () => {
  const names = ['room', 'lead voice', 'voice', 'for approval'];
  const at = (where: string) => about({ severity: 'note', code: '', at: where, message: '', remedy: '', at_s: null, revision: null }, names);
  expect(at('bus room')).toBe('room');
  expect(at('stem lead voice')).toBe('lead voice');
  expect(at('print for approval')).toBe('for approval');
  expect(at('song')).toBeNull();
});
