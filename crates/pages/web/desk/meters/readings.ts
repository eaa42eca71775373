// Meter readings in words, for the page and for those who hear it.
import type { Meters } from '../protocol.ts';
import { figure, loudness, steady } from '../words.ts';

/** Everything that is measured of what is heard, as short sentences to be spoken. */
export function spoken(heard: Meters, chosen: { name: string; momentary: number | null } | null): string {
  const peak = heard.true_peak_dbtp;
  const parts = [
    `Momentary ${loudness(heard.momentary_lufs)}`,
    `short-term ${loudness(heard.short_term_lufs)}`,
    heard.integrated_lufs === null ? '' : `integrated ${loudness(heard.integrated_lufs)}`,
    heard.loudness_range_lu === null ? '' : `range ${figure(heard.loudness_range_lu, 1)} LU`,
    peak === null ? '' : `true peak ${steady(peak, 1)} dBTP`,
    heard.psr_db === null ? '' : `peak over short-term ${steady(heard.psr_db, 1)} dB`,
    heard.correlation === null ? '' : `correlation ${steady(heard.correlation, 2)}`,
    lowest(heard.octave_correlations) === null ? '' : `least of its octaves ${lowest(heard.octave_correlations)}`,
    chosen ? `${chosen.name} ${loudness(chosen.momentary)}` : '',
  ];
  return `${parts.filter((part) => part !== '').join(', ')}.`;
}

type Octaves = Meters['octave_correlations'];

/** The middle of an octave, as short as it is written on scales: `63`, `1k`. */
export const octave = (hz: number): string => (hz < 1000 ? String(hz) : `${hz / 1000}k`);

const named = ([hz, value]: readonly [number, number]): string => `${steady(value, 2)} at ${hz < 1000 ? `${hz} Hz` : `${hz / 1000} kHz`}`;

const known = (all: Octaves): [number, number][] => all.flatMap(([hz, value]) => (value === null ? [] : [[hz, value] as [number, number]]));

/** The octave with the least correlation, in words. */
export function lowest(all: Octaves): string | null {
  const found = known(all).toSorted((a, b) => a[1] - b[1])[0];
  return found ? named(found) : null;
}

/** All octaves in words. */
export const octavesInWords = (all: Octaves): string => known(all).map(named).join(', ');

/** Loudness at the left and right end of a bar. */
const LOW = -50;

/** The part of a bar that a level fills: −50 at the left, 0 at the right. */
export function filled(level: number | null): number {
  return level === null ? 0 : Math.min(1, Math.max(0, (level - LOW) / -LOW));
}

/** Where levels are marked on a bar. */
export const MARKS = [-40, -30, -20, -10, 0].map((level) => ({ level, at: filled(level) }));
