// What the page knows: told by the desk, or chosen here. Everything that is shown is derived from these signals.
import { computed, signal } from '@preact/signals';
import { immutableJSONPatch, type JSONPatchDocument } from 'immutable-json-patch';
import type { Adds, Blind, BlindBefore, Differs, Finding, Now, Operation, Sounds, Told, View } from './protocol.ts';

/** The sheet as it stands. */
export const view = signal<View | null>(null);
/** The same as it was told last, and its number: what is chosen here shows in the view at once, ahead of the desk. */
let toldLast: { number: number; view: View } | null = null;
/** The loudness of everything over the song, once it is surveyed. */
export const sounds = signal<Sounds | null>(null);
/** What the desk plays now, twenty times a second. */
export const now = signal<Now | null>(null);
/** The same, four times a second: for words, which cannot be read any faster. */
export const beat = signal<Now | null>(null);
/** What the part whose card lies open adds, as it was weighed last. */
export const adds = signal<Adds | null>(null);
/** Whether nothing has changed since. */
export const weighed = signal(true);
/** What has changed since the version that was asked about. */
export const differs = signal<Differs | null>(null);
/** Work under way. */
export const progress = signal<{ what: string; part: number } | null>(null);
/** The last print run of this session. */
export const printed = signal<{ revision: string; sound: boolean } | null>(null);
/** What could not be done, until it is read. */
export const refused = signal<Finding | null>(null);
/** How much the ears have had, in sentences; nothing while nobody has measured. */
export const exposure = signal<string | null>(null);
/** The blind test that goes on. */
export const blind = signal<Blind | null>(null);
/** Blind tests that were held before, newest first. */
export const heldBefore = signal<readonly BlindBefore[]>([]);
/** Whether the desk answers. */
export const linked = signal(false);

/** Name of the stem, bus or print whose card lies open. */
export const chosen = signal<string | null>(null);
/** Place that is heard now: the desk is ahead of the ear by what is on its way. */
export const heardAt = signal(0);
/** How often the sound ran dry. */
export const dry = signal(0);

export const playing = computed(() => now.value?.playing ?? false);

/** The chosen stem, bus or print; the first print while nothing is chosen. */
export const open = computed(() => {
  const all = view.value;
  if (!all) return null;
  const name = chosen.value;
  return (
    all.nodes.find((node) => node.name === name) ??
    all.prints.find((print) => print.name === name) ??
    all.prints.find((print) => print.name === all.hearing.programme) ??
    all.prints[0] ??
    null
  );
});

const BEAT_MS = 250;
let beaten = 0;

function takeNow(next: Now): void {
  const turned = next.playing !== now.value?.playing;
  now.value = next;
  // Where a sound device of the machine plays, no loudspeaker of this page says how far it is.
  if (!next.playing || view.value?.device) heardAt.value = next.at_s;
  const time = performance.now();
  if (!turned && time - beaten < BEAT_MS) return;
  beaten = time;
  beat.value = next;
}

/** The view after a patch. None if the one before was missed, so that the patch does not fit. */
export function patched(last: { number: number; view: View } | null, number: number, patch: readonly Operation[]): View | null {
  if (last === null || number !== (last.number + 1) % 2 ** 32) return null;
  try {
    return immutableJSONPatch(last.view, patch as JSONPatchDocument) as View;
  } catch {
    return null;
  }
}

/** Takes in what the desk tells. False if something was missed, so that the whole view is needed. */
export function take(told: Told): boolean {
  switch (told.tell) {
    case 'view':
      toldLast = { number: told.number, view: told.view };
      view.value = told.view;
      break;
    case 'changed': {
      // It was sent ahead of the view that this page began with.
      if (toldLast !== null && told.number <= toldLast.number) break;
      const next = patched(toldLast, told.number, told.patch);
      if (next === null) return false;
      toldLast = { number: told.number, view: next };
      view.value = next;
      break;
    }
    case 'now':
      takeNow(told.now);
      break;
    case 'sounds':
      sounds.value = told.sounds;
      break;
    case 'blind':
      blind.value = told.blind;
      heldBefore.value = told.before;
      break;
    case 'differs':
      differs.value = told.differs;
      break;
    case 'adds':
      adds.value = told.adds;
      weighed.value = true;
      break;
    case 'exposure':
      exposure.value = told.sentence;
      break;
    case 'refused':
      refused.value = told.finding;
      break;
    case 'progress':
      progress.value = told.part >= 1 ? null : { what: told.what, part: told.part };
      break;
    case 'printed':
      progress.value = null;
      printed.value = { revision: told.revision, sound: told.sound };
      break;
  }
  return true;
}
