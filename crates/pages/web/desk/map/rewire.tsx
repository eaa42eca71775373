// Drawing a name to a bus: the stem or bus goes there from now on.
import { signal } from '@preact/signals';
import type { JSX } from 'preact';
import { edit } from '../edits.ts';
import { view } from '../state.ts';
import type { Spot } from './layout.ts';

type Line = { from: Spot; x: number; y: number; over: string | null };

const drawing = signal<Line | null>(null);
/** A press that moves less is a click. */
const SLACK_PX = 8;

/** The list of the sheet that a node stands in. */
export function listOf(role: string): 'stem' | 'bus' {
  return role === 'source' ? 'stem' : 'bus';
}

/** Lets a node go to another bus, or nowhere. */
export function goTo(name: string, bus: string): void {
  const node = view.value?.nodes.find((each) => each.name === name);
  if (!node || node.to === bus || name === bus) return;
  const path = [listOf(node.role), name, 'to'];
  edit(`${name} goes to ${bus} instead of ${node.to ?? 'nowhere'}`, { edit: 'set', path, value: bus });
}

/** Whether a node may go to a bus: not to itself, and not to what it is fed by. */
export function mayGoTo(name: string, bus: string): boolean {
  const nodes = view.value?.nodes ?? [];
  const reached = new Set([bus]);
  for (const id of reached) {
    const node = nodes.find((each) => each.name === id);
    for (const next of node ? [...(node.to === null ? [] : [node.to]), ...node.sends] : []) reached.add(next);
  }
  return !reached.has(name);
}

export function startRewiring(event: PointerEvent, spot: Spot): void {
  if (event.button !== 0 || spot.role === 'print' || spot.members.length > 0) return;
  const sheet = (event.currentTarget as Element).closest('.sheet');
  if (!sheet) return;
  const [startX, startY] = [event.clientX, event.clientY];
  const moved = (move: PointerEvent): void => {
    if (!drawing.value && Math.hypot(move.clientX - startX, move.clientY - startY) < SLACK_PX) return;
    const box = sheet.getBoundingClientRect();
    const under = document.elementFromPoint(move.clientX, move.clientY)?.closest('[data-node]');
    const over = under?.getAttribute('data-node') ?? null;
    const bus = view.value?.nodes.some((node) => node.name === over && node.role !== 'source');
    const able = over !== null && bus === true && mayGoTo(spot.id, over);
    drawing.value = { from: spot, x: move.clientX - box.left, y: move.clientY - box.top, over: able ? over : null };
  };
  const done = (): void => {
    removeEventListener('pointermove', moved);
    removeEventListener('pointerup', done);
    removeEventListener('pointercancel', done);
    const over = drawing.value?.over;
    drawing.value = null;
    if (over) goTo(spot.id, over);
  };
  addEventListener('pointermove', moved);
  addEventListener('pointerup', done);
  addEventListener('pointercancel', done);
}

export function RewireLine(): JSX.Element | null {
  const line = drawing.value;
  if (!line) return null;
  const words = line.over ? `${line.from.id} goes to ${line.over}` : `${line.from.id} goes to …`;
  return (
    <>
      <svg class="rewire" aria-hidden="true" width="100%" height="100%">
        <path d={`M${line.from.x} ${line.from.y} L${line.x} ${line.y}`} />
      </svg>
      <span class="rewire" style={{ left: `${line.x + 12}px`, top: `${line.y + 12}px` }}>
        {words}
      </span>
    </>
  );
}
