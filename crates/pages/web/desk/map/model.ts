// What the map shows, derived from what the page knows.
import { computed, signal } from '@preact/signals';
import { beat, heardAt, now, sounds, view } from '../state.ts';
import { type Frame, layout, rowsThatFit } from './layout.ts';
import { levels, shown } from './levels.ts';
import { bundled, network } from './network.ts';
import { type State, states } from './silence.ts';

const NOTHING: ReadonlyMap<string, State> = new Map();

/** The room that the map has. */
export const frame = signal<Frame | null>(null);
/** Bundles that the person opened (false) or closed (true). */
export const bundles = signal<ReadonlyMap<string, boolean>>(new Map());

/** The place in tenths of a second. */
export const place = computed(() => Math.round(heardAt.value * 10) / 10);

export const closed = computed(() => {
  if (!view.value || !frame.value) return new Set<string>();
  const most = rowsThatFit(network(view.value, new Set()), frame.value);
  return bundled(view.value, most, bundles.value);
});

export const drawnNetwork = computed(() => (view.value ? network(view.value, closed.value) : null));

export const drawnLayout = computed(() =>
  drawnNetwork.value && frame.value ? layout(drawnNetwork.value, frame.value) : null,
);

export const drawnLevels = computed(() =>
  view.value ? levels(view.value, now.value, sounds.value, place.value) : new Map(),
);

const fresh = computed(() =>
  view.value ? states(view.value, beat.value, sounds.value, beat.value?.playing ? beat.value.at_s : place.value) : NOTHING,
);
let kept: ReadonlyMap<string, State> = NOTHING;

/** Why what does not sound does not; the same object as long as nothing changes, so that nothing is drawn again. */
export const drawnStates = computed(() => {
  const next = fresh.value;
  const same = next.size === kept.size && [...next].every(([name, state]) => alike(kept.get(name), state));
  if (!same) kept = next;
  return kept;
});

const alike = (a: State | undefined, b: State): boolean => a?.kind === b.kind && a.why === b.why;

/** What the ribbons show. */
export const drawnShown = computed(() => shown(beat.value, place.value));

/** Opens a bundle of stems, or closes it. */
export function bundle(bus: string): void {
  bundles.value = new Map(bundles.value).set(bus, !closed.value.has(bus));
}
