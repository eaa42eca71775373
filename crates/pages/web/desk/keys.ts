// What single keys do. The list that the page shows is this list.
import { effect, signal } from '@preact/signals';
import { alone, ALL, silent, without } from './ear.ts';
import { mute } from './card/card.tsx';
import { answer, hearUnknown, testing } from './blind/state.ts';
import { lastOf, programmes } from './hearing/programmes.ts';
import { hearVersion } from './hearing/version.ts';
import { goToSection, loop } from './hearing/sentence.tsx';
import { atRate, codecOf, FIRST_KBPS } from './hearing/through.tsx';
import { neighbour } from './hearing/passage.ts';
import { turn } from './edits.ts';
import { ask, hear, listen } from './link.ts';
import { sayReadings } from './meters/meters.tsx';
import { bundle } from './map/model.ts';
import type { Node, Through, View } from './protocol.ts';
import { pictures, singleKeys } from './settings.ts';
import { playOrPause, seek } from './sound/player.ts';
import { heardAt, open, view } from './state.ts';

export const helpOpen = signal(false);

type Key = { keys: readonly string[]; shown: string; words: string; act: (all: View, key: string) => void };

const onNode = (act: (all: View, node: Node) => void) => (all: View): void => {
  const one = open.value;
  if (one && 'role' in one) act(all, one);
};

const through = (which: Through) => (all: View): void => hear({ through: all.hearing.through === which ? 'nothing' : which });

let codec: Through | null = null;

/** The codec that was listened through last; at first the first that there is. */
function lastCodec(all: View): Through {
  const [first] = all.codecs;
  return codec ?? (first ? atRate(first, FIRST_KBPS) : 'nothing');
}

effect(() => {
  const hearing = view.value?.hearing;
  if (hearing && codecOf(view.value?.codecs ?? [], hearing.through)) codec = hearing.through;
});

/** The processor that the keyboard is in. */
function heldProcessor(): number {
  const item = document.activeElement?.closest('.processor');
  return item?.parentElement ? [...item.parentElement.children].indexOf(item) : -1;
}

const monitor = (by: number) => (all: View): void => hear({ monitor_db: Math.min(0, Math.max(-60, all.hearing.monitor_db + by)) });

const focus = (selector: string) => (): void => document.querySelector<HTMLElement>(selector)?.focus();

export const KEYS: readonly Key[] = [
  { keys: [' '], shown: 'Space', words: 'play or pause', act: () => void playOrPause() },
  { keys: ['1', '2', '3', '4', '5', '6', '7', '8', '9'], shown: '1 to 9', words: 'hear that print or reference', act: (all, key) => {
    const programme = programmes(all)[Number(key) - 1];
    if (programme !== undefined) hear({ programme });
  } },
  { keys: ['n'], shown: 'n', words: 'the same print of the last revision, or of now', act: (all) => {
    const programme = lastOf(all);
    if (programme !== null) hear({ programme });
  } },
  { keys: ['t'], shown: 't', words: 'the same print of the version that was heard last, or of now', act: (all) => hearVersion(all) },
  { keys: ['m'], shown: 'm', words: 'matched loudness, or as printed', act: (all) => hear({ matched: !all.hearing.matched }) },
  { keys: ['o'], shown: 'o', words: 'through mono', act: through('mono') },
  { keys: ['d'], shown: 'd', words: 'the sides alone', act: through('side') },
  { keys: ['k'], shown: 'k', words: 'through one small speaker', act: through('small-speaker') },
  { keys: ['v'], shown: 'v', words: 'through the codec that was chosen last', act: (all) => hear({ through: codecOf(all.codecs, all.hearing.through) ? 'nothing' : lastCodec(all) }) },
  { keys: ['l'], shown: 'l', words: 'loop this section, or play on', act: (all) => loop(all.hearing.span_s === null) },
  { keys: ['0'], shown: '0', words: 'back to the start of the passage', act: (all) => seek(all.hearing.span_s?.[0] ?? neighbour(all, heardAt.value, -1)) },
  { keys: [','], shown: ',', words: 'the section before', act: (all) => section(all, -1) },
  { keys: ['.'], shown: '.', words: 'the next section', act: (all) => section(all, 1) },
  { keys: ['-'], shown: '−', words: 'monitor down by 1 dB', act: monitor(-1) },
  { keys: ['+', '='], shown: '+', words: 'monitor up by 1 dB', act: monitor(1) },
  { keys: ['a'], shown: 'a', words: 'hear what is chosen alone, in its place', act: onNode((all, node) => listen(alone(all.ear, node.name))) },
  { keys: ['s'], shown: 's', words: 'hear without what is chosen', act: onNode((all, node) => listen(silent(all.ear, node.name))) },
  { keys: ['w'], shown: 'w', words: 'with or without the processor that the keyboard is in, else the last', act: (all) => {
    const one = open.value;
    const at = heldProcessor();
    const last = (one?.card.processors.length ?? 0) - 1;
    if (one && last >= 0) listen(without(all.ear, one.name, at < 0 ? last : at));
  } },
  { keys: ['e'], shown: 'e', words: 'hear everything again', act: () => listen(ALL) },
  { keys: ['u'], shown: 'u', words: 'mute what is chosen in the sheet, prints included', act: onNode((_, node) => mute(node)) },
  { keys: ['b'], shown: 'b', words: 'draw stems of one bus as one ribbon, or each', act: onNode((_, node) => bundle(node.role === 'source' ? (node.to ?? '') : node.name)) },
  { keys: ['r'], shown: 'r', words: 'say the readings of the meters', act: () => sayReadings() },
  { keys: ['h'], shown: 'h', words: 'go to the listening sentence', act: focus('.listening .word') },
  { keys: ['g'], shown: 'g', words: 'go to the song', act: focus('.playhead') },
  { keys: ['f'], shown: 'f', words: 'go to the flow', act: focus('[role=option][tabindex="0"], .flow .word') },
  { keys: ['c'], shown: 'c', words: 'go to the card', act: focus('.card .word') },
  { keys: ['p'], shown: 'p', words: 'pictures, or words alone', act: () => (pictures.value = !pictures.value) },
  { keys: ['?'], shown: '?', words: 'this list', act: () => (helpOpen.value = !helpOpen.value) },
];

/** What single keys do in a blind test, beside those of [`WHILE_TESTING`]. */
export const BLIND_KEYS: readonly Key[] = [
  { keys: ['a'], shown: 'a', words: 'in a blind test: listen to A', act: () => hearUnknown('a') },
  { keys: ['b'], shown: 'b', words: 'in a blind test: listen to B', act: () => hearUnknown('b') },
  { keys: ['x'], shown: 'x', words: 'in a blind test: listen to X', act: () => hearUnknown('x') },
  { keys: ['A'], shown: 'Shift+A', words: 'in a blind test: X is A', act: () => answer(true) },
  { keys: ['B'], shown: 'Shift+B', words: 'in a blind test: X is B', act: () => answer(false) },
];

/** What keeps its meaning in a blind test: play, back to the start, the monitor, the list. */
const WHILE_TESTING = new Set([' ', '0', '-', '+', '?']);

/** What a single key does now. */
function meant(key: string): Key | undefined {
  if (!testing.value) return KEYS.find(({ keys }) => keys.includes(key));
  return BLIND_KEYS.find(({ keys }) => keys.includes(key)) ?? KEYS.find(({ keys }) => keys.includes(key) && WHILE_TESTING.has(keys[0] ?? ''));
}

/** Keys that are no single keys, for the list. */
export const OTHERS: readonly (readonly [string, string])[] = [
  ['Ctrl+Z', 'undo'],
  ['Ctrl+Shift+Z', 'redo'],
  ['Ctrl+S', 'save'],
  ['Tab', 'from group to group: the sheet, listening, the song, the flow, the card, each processor'],
  ['← →', 'within a group: from word to word; Home and End to its ends'],
  ['↑ ↓', 'in a number: a step; with Shift a fine one; Page keys a wide one'],
  ['← → ↑ ↓', 'on the map: along the flow; in the song: a second, Page keys a section'],
  ['Enter', 'on the map: into the card; on a bundle: open it'],
  ['Esc', 'from the card back to the map'],
];

function section(all: View, way: 1 | -1): void {
  const to = neighbour(all, heardAt.value, way);
  goToSection(all.sections.findLastIndex((each) => each.from_s <= to + 0.01));
}

/** Whether an element takes what is typed for itself. */
function typing(element: Element | null, key: string): boolean {
  if (element instanceof HTMLInputElement && element.type === 'checkbox') return key === ' ';
  if (element instanceof HTMLInputElement) return !(key === ' ' && element.classList.contains('number'));
  if (element instanceof HTMLSelectElement) return key !== '?';
  return key === ' ' && (element instanceof HTMLButtonElement || element?.tagName === 'SUMMARY') && !element.closest('[role=listbox]');
}

let byHand = false;

/**
 * What was pressed or chosen by hand gives the keyboard back, so that the next Space plays and does not press it again.
 * Who came by keyboard stays where they are.
 */
export function giveKeysBack(event: Event): void {
  if (event.type === 'pointerdown' || event.type === 'keydown') {
    byHand = event.type === 'pointerdown';
    return;
  }
  const used = event.target instanceof Element ? event.target.closest('button, select, summary, a') : null;
  if (byHand && used instanceof HTMLElement && !used.closest('[role=listbox], dialog') && (event.type === 'change') === (used.tagName === 'SELECT')) used.blur();
}

export function onKey(event: KeyboardEvent): void {
  const all = view.value;
  if (!all || event.defaultPrevented || event.altKey) return;
  if (event.ctrlKey || event.metaKey) {
    withControl(event);
    return;
  }
  if (event.key === 'Escape') {
    if (helpOpen.value) helpOpen.value = false;
    else if (document.activeElement?.closest('.card')) focus('[role=option][tabindex="0"], .flow .word')();
    return;
  }
  if (typing(document.activeElement, event.key) || (!singleKeys.value && event.key !== '?')) return;
  const found = meant(event.key);
  if (!found || (event.repeat && event.key !== '-' && event.key !== '+')) return;
  event.preventDefault();
  found.act(all, event.key);
}

function withControl(event: KeyboardEvent): void {
  const key = event.key.toLowerCase();
  if (!['z', 'y', 's'].includes(key)) return;
  event.preventDefault();
  if (key === 's') ask({ ask: 'save' });
  else turn(key === 'z' && !event.shiftKey);
}
