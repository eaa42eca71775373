// The loudness of a programme over the song as the outline of a hill.

/** Loudness on the baseline and at the top of the strip. */
const LOW_LUFS = -45;
const HIGH_LUFS = -4;
/** Steps that are averaged on either side, so that a hill is seen and not a comb. */
const CALM = 2;

/** Height of a loudness as a part of the strip's. */
export function rise(lufs: number | null): number {
  if (lufs === null) return 0;
  return Math.min(1, Math.max(0, (lufs - LOW_LUFS) / (HIGH_LUFS - LOW_LUFS)));
}

/** Heights of a history, calmed. */
export function hills(history: readonly (number | null)[]): number[] {
  const raw = history.map(rise);
  return raw.map((_, i) => {
    const near = raw.slice(Math.max(0, i - CALM), i + CALM + 1);
    return near.reduce((sum, each) => sum + each, 0) / near.length;
  });
}

/** The ridge over a strip of a width and height; `aSecond` steps a second over `seconds` in all. */
export function ridge(heights: readonly number[], aSecond: number, seconds: number, width: number, height: number): string {
  const x = (i: number): string => ((i / aSecond / seconds) * width).toFixed(1);
  return heights.map((part, i) => `${i === 0 ? 'M' : 'L'}${x(i)} ${((1 - part) * height).toFixed(1)}`).join(' ');
}

/** The ridge closed along the baseline. */
export function hill(heights: readonly number[], aSecond: number, seconds: number, width: number, height: number): string {
  if (heights.length === 0) return '';
  const end = (((heights.length - 1) / aSecond / seconds) * width).toFixed(1);
  return `${ridge(heights, aSecond, seconds, width, height)} L${end} ${height} L0 ${height} Z`;
}
