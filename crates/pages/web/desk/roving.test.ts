import { expect, it } from 'vitest';
import { along } from './roving.ts';

it('goes along a row, and not beyond its ends', () => {
  expect(along('ArrowRight', 1, 4)).toBe(2);
  expect(along('ArrowLeft', 0, 4)).toBeNull();
  expect(along('ArrowRight', 3, 4)).toBeNull();
  expect([along('Home', 3, 4), along('End', 0, 4)]).toEqual([0, 3]);
  expect(along('ArrowUp', 1, 4)).toBeNull();
});
