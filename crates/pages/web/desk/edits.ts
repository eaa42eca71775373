// Changes of the sheet, with the words that undoing shows.
import { ask } from './link.ts';
import type { Control, Edit, Path, Plain } from './protocol.ts';
import { amount } from './words.ts';

/** A value as history states it. */
export function told(value: Plain, unit: string): string {
  if (typeof value === 'number') return amount(value, unit);
  if (typeof value === 'boolean') return value ? 'on' : 'off';
  return String(value);
}

/** What is changed, in words: `attack of crush 0.4 ms → 1.2 ms`. */
export function change(name: string, where: string, from: Plain, to: Plain, unit: string): string {
  const of = where === '' ? '' : ` of ${where}`;
  return `${name}${of} ${told(from, unit)} → ${told(to, unit)}`;
}

/** The stem, bus or print that a path leads into. */
export function owner(path: Path): string {
  return typeof path[1] === 'string' ? path[1] : '';
}

/** The value and unit of a control. */
export function held(control: Control): { value: Plain; unit: string } {
  const takes = control.takes;
  return { value: takes.value ?? 'none', unit: takes.kind === 'number' ? takes.unit : '' };
}

/** How long after a move the next one still counts as the same. */
const SAME_MS = 1200;

type Gesture = { key: string; from: Plain; at: number };
let gesture: Gesture | null = null;

/** The gesture that a change at `key` belongs to, and whether it goes on. Moves in quick succession are one change. */
export function joined(last: Gesture | null, key: string, from: Plain, at: number): [Gesture, boolean] {
  const goesOn = last !== null && last.key === key && at - last.at < SAME_MS;
  return [{ key, from: goesOn ? last.from : from, at }, goesOn];
}

/** Sets what a control stands for. */
export function set(control: Control, value: Plain): void {
  const { value: from, unit } = held(control);
  const [next, goesOn] = joined(gesture, JSON.stringify(control.path), from, performance.now());
  gesture = next;
  const words = change(control.name, owner(control.path), next.from, value, unit);
  ask({ ask: 'edit', edits: [{ edit: 'set', path: control.path, value }], words, goes_on: goesOn });
}

/** Makes a change that stands for itself. */
export function edit(words: string, ...edits: Edit[]): void {
  gesture = null;
  ask({ ask: 'edit', edits, words, goes_on: false });
}

/** Takes the last change back, or makes it again: what comes then stands for itself. */
export function turn(back: boolean): void {
  gesture = null;
  ask({ ask: back ? 'undo' : 'redo' });
}

/** Ends a gesture: the next change is undone on its own. */
export function letGo(): void {
  gesture = null;
}
