// What can be heard.
import type { View } from '../protocol.ts';

/** Everything that can be heard, in the order of its keys. */
export function programmes(all: View): string[] {
  return [...all.prints.map((print) => print.name), ...all.references];
}
