// How loud each place of the map is: while it plays, as the desk measures it; at rest, as the song was surveyed there.
import type { Now, Sound, Sounds, View } from '../protocol.ts';
import type { Place } from './network.ts';

/** Momentary and short-term loudness. */
export type Level = { momentary: number | null; short_term: number | null };
export type Levels = ReadonlyMap<string, Level>;

const SILENT: Level = { momentary: null, short_term: null };
const SHORT_TERM_S = 3;

/** Mean of loudnesses by energy; what is silent counts as nothing. */
export function mean(all: readonly (number | null)[]): number | null {
  const energy = all.reduce<number>((total, lufs) => total + (lufs === null ? 0 : 10 ** (lufs / 10)), 0);
  return energy > 0 ? 10 * Math.log10(energy / all.length) : null;
}

/** Sum of loudnesses by energy. */
export function sum(all: readonly (number | null)[]): number | null {
  const one = mean(all);
  return one === null ? null : one + 10 * Math.log10(all.length);
}

/** What a history says about a place in the song. */
export function surveyed(history: readonly (number | null)[], aSecond: number, at_s: number): Level {
  const index = Math.min(history.length - 1, Math.max(0, Math.round(at_s * aSecond)));
  if (index < 0) return SILENT;
  const window = history.slice(Math.max(0, index - SHORT_TERM_S * aSecond), index + 1);
  return { momentary: history[index] ?? null, short_term: mean(window) };
}

/** The absolute gate of ITU-R BS.1770: what is below counts as silence. */
const GATE_LUFS = -70;

/** What a whole song says: the mean of all that is no silence. */
function whole(sound: Sound | undefined): Level {
  const all = mean((sound?.momentary_lufs ?? []).filter((lufs) => lufs !== null && lufs > GATE_LUFS));
  return { momentary: all, short_term: all };
}

/** What the ribbons show: what sounds, a place of the song, or all of it while it waits at its start. */
export type Shown = 'now' | 'place' | 'whole';

export function shown(now: Now | null, at_s: number): Shown {
  if (now?.playing) return 'now';
  return at_s === 0 ? 'whole' : 'place';
}

/** Levels of all nodes and prints. */
export function levels(view: View, now: Now | null, sounds: Sounds | null, at_s: number): Levels {
  const found = new Map<string, Level>();
  const take = (names: readonly string[], live: Now['nodes'] | undefined, kept: Sounds['nodes'] | undefined): void => {
    names.forEach((name, i) => {
      const pair = live?.[i];
      const sound = kept?.find((each) => each.name === name);
      if (pair) found.set(name, { momentary: pair[0], short_term: pair[1] ?? pair[0] });
      else if (shown(now, at_s) === 'whole') found.set(name, whole(sound));
      else found.set(name, sound && sounds ? surveyed(sound.momentary_lufs, sounds.a_second, at_s) : SILENT);
    });
  };
  const live = now?.playing ? now : null;
  take(view.nodes.map((node) => node.name), live?.nodes, sounds?.nodes);
  take(view.prints.map((print) => print.name), live?.programmes, sounds?.programmes);
  return found;
}

/** The level of a place: of a bundle, that of its stems together. */
export function levelOf(place: Place, all: Levels): Level {
  if (place.members.length === 0) return all.get(place.id) ?? SILENT;
  const each = place.members.map((name) => all.get(name) ?? SILENT);
  return { momentary: sum(each.map((level) => level.momentary)), short_term: sum(each.map((level) => level.short_term)) };
}
