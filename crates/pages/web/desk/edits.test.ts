import { expect, it } from 'vitest';
import { change, joined, owner, told } from './edits.ts';

it('says what is changed, in words', () => {
  expect(change('attack', 'crush', 0.4, 1.2, 'ms')).toBe('attack of crush 0.4 ms → 1.2 ms');
  expect(change('kind', '', 'valve', 'optical', '')).toBe('kind valve → optical');
  expect(told(true, '')).toBe('on');
  expect(owner(['bus', 'crush', 'chain', 0, 'compressor', 'attack_ms'])).toBe('crush');
});

it('joins moves in quick succession and keeps where they started', () => {
  const [first, goesOn] = joined(null, 'level', -13, 1000);
  expect(goesOn).toBe(false);
  const [second, again] = joined(first, 'level', -12.5, 1500);
  expect([second.from, again]).toEqual([-13, true]);
  expect(joined(second, 'pan', 0, 1600)[1]).toBe(false);
  expect(joined(second, 'level', -12, 9000)[1]).toBe(false);
});
