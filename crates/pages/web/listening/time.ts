// Times and marks as people read them.

/** Minutes and seconds: `0:41`, and with tenths `0:41.2`. */
export function clock(secs: number, tenths = false): string {
  const whole = Math.max(0, tenths ? Math.round(secs * 10) / 10 : Math.floor(secs));
  const minutes = Math.floor(whole / 60);
  const rest = whole - 60 * minutes;
  return `${minutes}:${(tenths ? rest.toFixed(1) : String(rest)).padStart(tenths ? 4 : 2, '0')}`;
}

/** A moment or a span. */
export function moment(from: number, to: number | null): string {
  return to === null ? clock(from) : `${clock(from)} to ${clock(to)}`;
}

/** The letter of the n-th note: A to Z, then AA, AB and on. */
export function letter(index: number): string {
  const here = String.fromCodePoint(65 + (index % 26));
  return index < 26 ? here : letter(Math.floor(index / 26) - 1) + here;
}

/** A date of a print, `2026-11-27 12:49:01 UTC`, without the hour. */
export function day(date: string): string {
  const [year, month, dayOfMonth] = date.slice(0, 10).split('-').map(Number);
  if (!year || !month || !dayOfMonth) return date;
  const when = new Date(Date.UTC(year, month - 1, dayOfMonth));
  return when.toLocaleDateString('en-GB', { day: 'numeric', month: 'long', year: 'numeric', timeZone: 'UTC' });
}
