// What can be heard.
import type { View } from '../protocol.ts';

/** The same print in the last revision, or what was printed then of what is heard now; nothing if nothing was printed. */
export function lastOf(all: View): string | null {
  const { programme } = all.hearing;
  const back = all.earlier.find((earlier) => earlier.name === programme);
  if (back) return all.prints.find((print) => print.name === back.print)?.name ?? null;
  return (all.earlier.find((earlier) => earlier.print === programme) ?? all.earlier[0])?.name ?? null;
}

/** Everything that can be heard, in the order of its keys. */
export function programmes(all: View): string[] {
  return [...all.prints.map((print) => print.name), ...all.references, ...all.earlier.map((print) => print.name)];
}
