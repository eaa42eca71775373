// Why a ribbon carries no sound, in words.
import { sounding } from '../ear.ts';
import type { Card, Node, Now, Sounds, View } from '../protocol.ts';
import { figure } from '../words.ts';

/** `flows` as usual; `dry` where nobody expects sound; `outlined` by choice; `broken` where sound is missing. */
export type State = { kind: 'flows' | 'dry' | 'outlined' | 'broken'; why: string };

const FLOWS: State = { kind: 'flows', why: '' };
/** Below this a node counts as silent (the absolute gate of ITU-R BS.1770). */
const SILENT_LUFS = -70;
/** Silence that is over sooner is a rest, not a fault. */
const REST_S = 3;
/** The desk is ahead of the ear, and a meter looks back: so near the edge of a silence, what is heard and what was surveyed differ. */
const EDGE_S = 1;

/** The value of a number of a card's own sentence, if it is there and not moved by a ride. */
function own(card: Card, key: string): { value: number; low: number } | null {
  for (const phrase of card.sentence) {
    for (const piece of phrase.pieces) {
      if (!('control' in piece) || piece.control.path.at(-1) !== key || piece.control.ridden) continue;
      if (piece.control.takes.kind === 'number') return piece.control.takes;
    }
  }
  return null;
}

/** The silence around a place in a history: how long it has lasted and how long it goes on, in seconds. */
export function silenceAt(history: readonly (number | null)[], aSecond: number, at_s: number): [number, number] | null {
  const quiet = (i: number): boolean => (history[i] ?? null) === null || (history[i] as number) < SILENT_LUFS;
  const here = Math.min(history.length - 1, Math.max(0, Math.round(at_s * aSecond)));
  if (history.length === 0 || !quiet(here)) return null;
  let [from, to] = [here, here];
  while (from > 0 && quiet(from - 1)) from -= 1;
  while (to < history.length - 1 && quiet(to + 1)) to += 1;
  return [(here - from) / aSecond, (to - here) / aSecond];
}

/** Whether a history sounds at a place and all around it. */
function soundsAround(history: readonly (number | null)[], aSecond: number, at_s: number): boolean {
  const [from, to] = [at_s - EDGE_S, at_s + EDGE_S].map((place) => Math.min(history.length - 1, Math.max(0, Math.round(place * aSecond))));
  return history.slice(from, (to ?? 0) + 1).every((level) => level !== null && level >= SILENT_LUFS);
}

/** The state of every node, by name. */
export function states(view: View, now: Now | null, sounds: Sounds | null, at_s: number): Map<string, State> {
  const heard = sounding(view.nodes, view.ear);
  const fed = new Set(view.nodes.flatMap((node) => [...(node.to === null ? [] : [node.to]), ...node.sends]));
  const drawn = new Set(view.prints.map((print) => print.from));
  const found = new Map<string, State>();
  view.nodes.forEach((node, i) => {
    const byChoice = chosenSilence(node, view, heard);
    found.set(node.name, byChoice ?? fault(node, fed, drawn) ?? missing(node, i, now, sounds, at_s) ?? FLOWS);
  });
  for (const print of view.prints) found.set(print.name, FLOWS);
  return found;
}

function chosenSilence(node: Node, view: View, heard: ReadonlySet<string>): State | null {
  if (node.mute) return { kind: 'outlined', why: 'muted in the sheet' };
  if (view.ear.silent.includes(node.name)) return { kind: 'outlined', why: 'silenced for listening' };
  return heard.has(node.name) ? null : { kind: 'outlined', why: '' };
}

function fault(node: Node, fed: ReadonlySet<string>, drawn: ReadonlySet<string>): State | null {
  const level = own(node.card, 'level_db');
  if (level && level.value <= level.low) return { kind: 'broken', why: 'its level is at minimum' };
  if (node.role !== 'source' && !fed.has(node.name)) return { kind: 'broken', why: 'nothing feeds it' };
  if (node.to === null && !drawn.has(node.name)) return { kind: 'broken', why: 'it goes nowhere' };
  return null;
}

function missing(node: Node, index: number, now: Now | null, sounds: Sounds | null, at_s: number): State | null {
  const history = sounds?.nodes.find((sound) => sound.name === node.name)?.momentary_lufs;
  const silence = history && sounds ? silenceAt(history, sounds.a_second, at_s) : null;
  const live = now?.playing ? now.nodes[index]?.[0] : undefined;
  // While the song waits at its start, the map shows all of it.
  if (live === undefined && at_s === 0) return null;
  const quiet = live === undefined ? silence !== null : live === null || live < SILENT_LUFS;
  if (!quiet) return null;
  if (node.role !== 'source' || node.expect_silence) return { kind: 'dry', why: '' };
  if (!silence) {
    const isGone = history && sounds && soundsAround(history, sounds.a_second, at_s);
    return isGone ? { kind: 'broken', why: 'it was heard here before the last changes' } : { kind: 'dry', why: '' };
  }
  const [past, ahead] = silence;
  if (past + ahead < REST_S) return { kind: 'dry', why: '' };
  const begun = `its file is silent here, for ${figure(past + ahead, 0)} s`;
  return { kind: 'broken', why: begun };
}
