// By how much a number moves with a key, the wheel or the hand.
import type { Takes } from './protocol.ts';

export type NumberTakes = Extract<Takes, { kind: 'number' }>;

/** How far one move goes: fine with Shift, wide with Page keys. */
export type Size = 'fine' | 'step' | 'wide';

/** Parts of an octave for numbers where equal ratios sound alike. */
const OCTAVES: Record<Size, number> = { fine: 1 / 48, step: 1 / 12, wide: 1 / 3 };

/** Lowest rung where a range begins at zero, which there means off. */
const FLOORS: Record<string, number> = { Hz: 10, ms: 0.1, s: 0.01 };

/** Where the ladder of ratios stands. */
const LADDER = 1000;

/** Steps of a unit's usual size: what a person would call a bit, a move, a lot. */
const STEPS: Record<string, Record<Size, number>> = {
  dB: { fine: 0.1, step: 0.5, wide: 3 },
  LUFS: { fine: 0.1, step: 0.5, wide: 2 },
  '%': { fine: 1, step: 5, wide: 20 },
  ms: { fine: 0.1, step: 1, wide: 10 },
  'dB/octave': { fine: 6, step: 6, wide: 12 },
  bit: { fine: 1, step: 1, wide: 8 },
};

/** The value after so many steps up (or down, if negative), in range and on a round figure. */
export function stepped(takes: NumberTakes, value: number, steps: number, size: Size): number {
  const floor = takes.low > 0 ? takes.low : (FLOORS[takes.unit] ?? 0);
  if (takes.by_ratio && floor > 0) {
    // Zero has no place on the ladder: it lies below the lowest rung.
    if (value < floor) return steps > 0 ? floor : takes.low;
    if (value === floor && steps < 0) return takes.low;
    // Steps lie on a ladder, so that the same number comes back on the way back although each is rounded.
    const rung = Math.round(Math.log2(value / LADDER) / OCTAVES[size]) + steps;
    return clamped(takes, Math.max(floor, Number((LADDER * 2 ** (rung * OCTAVES[size])).toPrecision(3))));
  }
  const by = (STEPS[takes.unit] ?? even(takes))[size];
  return clamped(takes, Number((Math.round(value / by + steps) * by).toFixed(6)));
}

/** Steps for a number without a usual size: a fiftieth of its range, rounded. */
function even(takes: NumberTakes): Record<Size, number> {
  const raw = (takes.high - takes.low) / 50;
  const decade = 10 ** Math.floor(Math.log10(raw));
  const lead = raw / decade;
  const step = (lead < 1.5 ? 1 : lead < 3.5 ? 2 : lead < 7.5 ? 5 : 10) * decade;
  return { fine: step / 10, step, wide: step * 5 };
}

/** The value brought into its range. */
export function clamped(takes: NumberTakes, value: number): number {
  return Math.min(takes.high, Math.max(takes.low, value));
}

/** The value after the hand moved up by so many pixels: eight for a step, so that a level follows calmly. */
export function drawn(takes: NumberTakes, from: number, up: number, fine: boolean): number {
  const steps = Math.trunc(up / 8);
  return steps === 0 ? from : stepped(takes, from, steps, fine ? 'fine' : 'step');
}
