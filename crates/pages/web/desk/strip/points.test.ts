import { expect, it } from 'vitest';
import { added, moved, type Point, removed, valueAt } from './points.ts';

const ride: Point[] = [[10, -13], [20, -13], [21, -10]];

it('follows straight lines between points and holds beyond them', () => {
  expect([0, 15, 20.5, 60].map((time) => valueAt(ride, time))).toEqual([-13, -13, -11.5, -10]);
});

it('adds, moves and takes points', () => {
  expect(added(ride, [15, -12])).toEqual([[10, -13], [15, -12], [20, -13], [21, -10]]);
  expect(added(ride, [20.004, -9])).toHaveLength(3);
  expect(moved(ride, 1, [5, -11.1234])).toEqual([[10, -13], [10.01, -11.123], [21, -10]]);
  expect(moved(ride, 1, [30, -11])[1]?.[0]).toBeCloseTo(20.99);
  expect(removed(ride, 0)).toEqual([[20, -13], [21, -10]]);
});
