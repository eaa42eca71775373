// The shape of a ribbon: two banks along one course.
import type { Course } from './layout.ts';

/** Loudness without a ribbon, and loudness of a full one. */
export const NONE_LUFS = -60;
export const FULL_LUFS = -10;

/** Thickness of a loudness as a part of the full one: linear in LU. */
export function part(lufs: number | null): number {
  if (lufs === null) return 0;
  return Math.min(1, Math.max(0, (lufs - NONE_LUFS) / (FULL_LUFS - NONE_LUFS)));
}

export type Ends = {
  /** Thickness at the start and at the mouth. */
  start: number;
  mouth: number;
  /** How far the middle of the mouth lies below the middle of what it flows into. */
  shift: number;
};

const at = (x: number, y: number): string => `${x.toFixed(1)} ${y.toFixed(1)}`;

/** Length over which a spring widens to its river. */
const SPRING_PX = 26;

type Banks = { a: number; b: number; half: number; spring: number };

/** Heights of one bank at both ends, `side` −1 above and 1 below the middle, and where its curves hold on. */
function banks(course: Course, ends: Ends, side: number): Banks {
  return {
    a: course.y0 + (side * ends.start) / 2,
    b: course.y1 + ends.shift + (side * ends.mouth) / 2,
    half: (course.bend + course.x1) / 2,
    spring: course.springs ? Math.min(course.x0 + SPRING_PX, course.bend + SPRING_PX / 2) : course.x0,
  };
}

/** One bank from left to right. */
function bank(course: Course, ends: Ends, side: number): string {
  const { a, b, half, spring } = banks(course, ends, side);
  const from = course.springs ? `${at(course.x0, course.y0)} Q${at(course.x0, a)} ${at(spring, a)}` : at(spring, a);
  const bend = Math.max(spring, course.bend);
  return `${from} L${at(bend, a)} C${at(half, a)} ${at(half, b)} ${at(course.x1, b)}`;
}

/** The same, from right to left. */
function bankBack(course: Course, ends: Ends, side: number): string {
  const { a, b, half, spring } = banks(course, ends, side);
  const bend = Math.max(spring, course.bend);
  const to = course.springs ? `Q${at(course.x0, a)} ${at(course.x0, course.y0)}` : '';
  return `${at(course.x1, b)} C${at(half, b)} ${at(half, a)} ${at(bend, a)} L${at(spring, a)} ${to}`;
}

/** The outline of a ribbon, closed. */
export function area(course: Course, ends: Ends): string {
  return `M${bank(course, ends, -1)} L${bankBack(course, ends, 1)} Z`;
}

/** A line along a ribbon: `side` 0 is its middle, ±1 its banks. */
export function line(course: Course, ends: Ends, side: number): string {
  return `M${bank(course, ends, side)}`;
}

/**
 * Shares the thickness of what is flowed into among what flows in, from top to bottom: together they fill it, each by
 * its own thickness.
 */
export function mouths(whole: number, starts: readonly number[]): { mouth: number; shift: number }[] {
  const sum = starts.reduce((total, start) => total + start, 0);
  let top = -whole / 2;
  return starts.map((start) => {
    const mouth = sum > 0 ? (whole * start) / sum : 0;
    const shift = top + mouth / 2;
    top += mouth;
    return { mouth, shift };
  });
}
