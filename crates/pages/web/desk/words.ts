// How figures stand in text, and how text that was typed is read back as a figure.

const MINUS = '−';

/** A number with at most `places` places, no trailing zeros, and a true minus sign. */
export function figure(x: number, places: number): string {
  const text = x.toFixed(places);
  const short = text.includes('.') ? text.replace(/\.?0+$/, '') : text;
  return short === '-0' ? '0' : short.replace('-', MINUS);
}

/** A number with exactly `places` places, so that it does not dance while it moves. */
export function steady(x: number, places: number): string {
  const text = x.toFixed(places);
  return Number(text) === 0 ? (0).toFixed(places) : text.replace('-', MINUS);
}

/** A change with its sign: `+1.8`, `−0.7`, `0.0`. */
export function signed(x: number): string {
  const text = steady(x, 1);
  return Number(text) === 0 || text.startsWith(MINUS) ? text : `+${text}`;
}

/** A value with its unit, as cards show it: `−4 dB`, `6.5 kHz`, `60%`. */
export function amount(x: number, unit: string): string {
  if (unit === 'Hz' && x >= 1000) return `${figure(x / 1000, 2)} kHz`;
  const number = figure(x, Math.abs(x) >= 100 ? 1 : 3);
  if (unit === '') return number;
  return unit === '%' ? `${number}%` : `${number} ${unit}`;
}

/** What was typed as a number in the unit: `-4`, `−4 dB`, `6.5k`, `1.2 s` for milliseconds. Nothing if it is no number. */
export function typed(text: string, unit: string): number | null {
  const found = /^\s*([+\-−–]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*([a-z%/]*)\s*$/i.exec(text);
  if (!found) return null;
  const [, sign, digits, suffix] = found as unknown as [string, string, string, string];
  const size = Number(digits.replace(',', '.'));
  const factor = scale(suffix.toLowerCase(), unit);
  if (!Number.isFinite(size) || factor === null) return null;
  return (sign === '' || sign === '+' ? size : -size) * factor;
}

/** By how much a unit that was typed is larger than the control's. */
function scale(suffix: string, unit: string): number | null {
  const own = unit.toLowerCase();
  if (suffix === '' || suffix === own) return 1;
  if (own === 'hz' && (suffix === 'k' || suffix === 'khz')) return 1000;
  if (own === 'ms' && suffix === 's') return 1000;
  if (own === 's' && suffix === 'ms') return 0.001;
  return own.startsWith(suffix) ? 1 : null;
}

/** Words from the desk have plain hyphens for minus signs; words in a name keep theirs. */
export const typeset = (words: string): string => words.replaceAll(/(?<![\w.])-(?=\d)/g, MINUS);

/** A place in the song: `1:04`, or with tenths `1:04.3`. */
export function place(seconds: number, places = 0): string {
  const scaled = Math.round(Math.max(0, seconds) * 10 ** places);
  const whole = Math.floor(scaled / 10 ** places);
  const rest = places > 0 ? `.${String(scaled % 10 ** places).padStart(places, '0')}` : '';
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, '0')}${rest}`;
}

/** A place that was typed: seconds, or minutes and seconds. */
export function typedPlace(text: string): number | null {
  const found = /^\s*(?:(\d+):)?(\d+(?:\.\d*)?)\s*s?\s*$/.exec(text);
  return found ? Number(found[1] ?? 0) * 60 + Number(found[2]) : null;
}

/** A loudness in words; what is silent has none. */
export function loudness(lufs: number | null): string {
  return lufs === null ? 'silent' : `${steady(lufs, 1)} LUFS`;
}

/** Names in a row: `a`, `a and b`, `a, b and c`. */
export function listed(names: readonly string[]): string {
  if (names.length < 2) return names.join('');
  return `${names.slice(0, -1).join(', ')} and ${names.at(-1)}`;
}
