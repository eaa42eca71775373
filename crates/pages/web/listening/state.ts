// The state of the page: what plays, what is written, where the note that is being written stands.
import { computed, effect, signal } from '@preact/signals';
import { keep, kept } from './keep';
import { shown, type Mine } from './notes';
import { Pieces } from './pieces';
import { Player } from './player';
import type { Song } from './song';

export type Draft = { from: number; to: number | null; text: string };

export type Page = ReturnType<typeof pageOf>;

export function pageOf(song: Song) {
  const player = new Player(song, new Pieces(song));
  const mine = signal<Mine>(kept(song.page));
  const isKept = signal(true);
  const draft = signal<Draft | null>(null);
  const chosen = signal<string | null>(null);
  const ballot = signal(false);
  effect(() => {
    isKept.value = keep(song.page, mine.value);
  });
  return { song, player, mine, isKept, draft, chosen, ballot, notes: computed(() => shown(song, mine.value)) };
}
