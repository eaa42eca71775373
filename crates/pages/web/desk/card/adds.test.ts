import { expect, it } from 'vitest';
import { signed } from '../words.ts';
import { passageInWords, within } from './adds.tsx';

it('says where something is added', () => {
  const sections = [{ name: 'verse' }, { name: 'chorus 1' }];
  expect(passageInWords([12, 33], sections, 1)).toBe('in chorus 1');
  expect(passageInWords([12, 65], sections, -1)).toBe('from 0:12 to 1:05');
});

it('lets a sentence go on, and gives a change its sign', () => {
  expect(within('Adds 1.8 LU.')).toBe('adds 1.8 LU.');
  expect([1.84, -0.72, 0.02, -0.04].map(signed)).toEqual(['+1.8', '−0.7', '0.0', '0.0']);
});
