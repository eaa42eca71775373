// Which ride of the card that lies open is drawn over the song, and what else could ride.
import { computed, signal } from '@preact/signals';
import type { Card, Control, Path, Ride } from '../protocol.ts';
import { open } from '../state.ts';
import { controls } from './ridden.ts';

/** Where the ride stands that was chosen by hand. */
const picked = signal<string | null>(null);

const keyOf = (path: Path): string => JSON.stringify(path);

/** The ride that is drawn: the one that was chosen, else the card's first. */
export function shownOf(rides: readonly Ride[], key: string | null): Ride | null {
  return rides.find((ride) => keyOf(ride.path) === key) ?? rides[0] ?? null;
}

export const shown = computed<Ride | null>(() => shownOf(open.value?.card.rides ?? [], picked.value));

export function show(path: Path): void {
  picked.value = keyOf(path);
}

export type Rideable = { name: string; what: string; control: Control };

/** Keys of a stem or bus whose numbers stay where they are. */
const FIXED: ReadonlySet<unknown> = new Set(['delay_ms']);

/** Every number of a card that could ride and does not, with the words by which the sheet knows it. */
export function rideable(card: Card): Rideable[] {
  const found: Rideable[] = [];
  const add = (control: Control, name: string, what: string): void => {
    if (control.takes.kind === 'number' && !control.ridden) found.push({ name, what, control });
  };
  const last = (control: Control): string => String(control.path.at(-1));
  for (const control of controls(card.sentence)) if (!FIXED.has(last(control))) add(control, control.name, last(control));
  for (const send of card.sends)
    for (const control of controls(send.sentence)) add(control, `${control.name} of the copy to ${send.to}`, `send ${send.to}.${last(control)}`);
  card.processors.forEach((processor, i) => {
    const before = card.processors.slice(0, i).filter((other) => other.name === processor.name).length;
    const word = numbered(processor.name, before);
    for (const control of [...controls(processor.sentence), ...processor.more]) add(control, `${control.name} of the ${numbered(processor.title, before)}`, `${word}.${last(control)}`);
    const [rows, row] = processor.rows_name ?? ['', ''];
    processor.rows.forEach((each, r) => {
      for (const control of [...controls(each.sentence), ...each.more])
        if (control.path.includes(rows)) add(control, `${control.name} of ${row} ${r + 1} of the ${numbered(processor.title, before)}`, `${word}.${numbered(rows, r)}.${last(control)}`);
    });
  });
  return found;
}

/** The second of its name carries its number, as in the sheet. */
const numbered = (name: string, before: number): string => (before === 0 ? name : `${name} ${before + 1}`);
