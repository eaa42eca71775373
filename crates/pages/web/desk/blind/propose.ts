// What a blind test would compare, as things stand: the question that was just in somebody's mind.
import { ALL } from '../ear.ts';
import type { Compared, View } from '../protocol.ts';

/** The longest passage that is compared, as the desk has it. */
export const LONGEST_S = 25;

/** With and without what is left out; else with and without what it is heard through; else this programme and the next. */
export function proposed(all: View, names: readonly string[]): [Compared, Compared] {
  const { programme, through } = all.hearing;
  const plain: Compared = { programme, all: true, through: 'nothing' };
  const { alone, silent, without } = all.ear;
  if (alone.length + silent.length + without.length > 0) return [{ ...plain, through }, { ...plain, through, all: false }];
  if (through !== 'nothing') return [plain, { ...plain, through }];
  const other = names.find((name) => name !== programme) ?? programme;
  return [plain, { ...plain, programme: other }];
}

/** Whether the ear leaves anything out, so that "as it is heard now" is a choice. */
export const isPartial = (all: View): boolean => JSON.stringify(all.ear) !== JSON.stringify(ALL);

/** Whether there is a difference to be heard at all. */
export function differ([a, b]: readonly [Compared, Compared]): boolean {
  return a.programme !== b.programme || a.all !== b.all || a.through !== b.through;
}
