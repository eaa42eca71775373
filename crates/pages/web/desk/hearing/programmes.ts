// What can be heard, and through what.
import type { Through, View } from '../protocol.ts';

export const THROUGH: readonly { value: Through; text: string }[] = [
  { value: 'nothing', text: 'nothing else' },
  { value: 'mono', text: 'mono' },
  { value: 'side', text: 'the sides alone' },
  { value: 'small-speaker', text: 'one small speaker' },
];

/** Everything that can be heard, in the order of its keys. */
export function programmes(all: View): string[] {
  return [...all.prints.map((print) => print.name), ...all.references];
}
