import { expect, it } from 'vitest';
import { hill, hills, rise } from './silhouette.ts';

it('rises with loudness, and lies flat where nothing sounds', () => {
  expect([null, -90, -45, -4, 0].map(rise)).toEqual([0, 0, 0, 1, 1]);
  expect(rise(-24.5)).toBeCloseTo(0.5);
});

it('draws a hill over its time', () => {
  const heights = hills(Array.from({ length: 101 }, () => -4));
  expect(heights.every((height) => Math.abs(height - 1) < 1e-9)).toBe(true);
  const path = hill(heights, 10, 20, 1000, 90);
  expect(path.startsWith('M0.0 0.0')).toBe(true);
  expect(path.endsWith('L500.0 90 L0 90 Z')).toBe(true);
  expect(hill([], 10, 20, 1000, 90)).toBe('');
});
