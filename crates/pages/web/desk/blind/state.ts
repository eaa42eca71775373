// A blind test, as the desk tells of it. What X is stays with the desk.
import { computed, signal } from '@preact/signals';
import { ask } from '../link.ts';
import type { Compared, Unknown } from '../protocol.ts';
import { blind } from '../state.ts';

/** Whether the question is being put. */
export const asking = signal(false);
/** What was compared last, for another test of the same. */
export const last = signal<{ sides: [Compared, Compared]; rounds: number } | null>(null);

/** Whether single keys belong to a test. */
export const testing = computed(() => blind.value !== null);

export function begin(sides: [Compared, Compared], rounds: number): void {
  last.value = { sides, rounds };
  asking.value = false;
  ask({ ask: 'blind', blindly: { act: 'begin', sides, rounds } });
}

export function hearUnknown(what: Unknown): void {
  if (blind.value?.ready) ask({ ask: 'blind', blindly: { act: 'hear', what } });
}

export function answer(isA: boolean): void {
  if (blind.value?.ready) ask({ ask: 'blind', blindly: { act: 'answer', is_a: isA } });
}

export function leave(): void {
  ask({ ask: 'blind', blindly: { act: 'leave' } });
}
