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
    chosen ? `${chosen.name} ${loudness(chosen.momentary)}` : '',
  ];
  return `${parts.filter((part) => part !== '').join(', ')}.`;
}

/** Loudness at the left and right end of a bar. */
const LOW = -50;

/** The part of a bar that a level fills: −50 at the left, 0 at the right. */
export function filled(level: number | null): number {
  return level === null ? 0 : Math.min(1, Math.max(0, (level - LOW) / -LOW));
}

/** Where levels are marked on a bar. */
export const MARKS = [-40, -30, -20, -10, 0].map((level) => ({ level, at: filled(level) }));
