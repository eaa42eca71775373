// The scale of the map, as maps have one: how thick which loudness is, and of what.
import type { JSX } from 'preact';
import { figure, place as inWords } from '../words.ts';
import { drawnShown, place } from './model.ts';
import { part } from './ribbon.ts';

const SAMPLES_LUFS = [-50, -30, -10];

const WHAT = {
  now: () => 'loudness now, over 3 s',
  place: () => `loudness at ${inWords(place.value, 1)}`,
  whole: () => 'loudness over the whole song',
};

export function Scale({ full }: { full: number }): JSX.Element {
  return (
    <p class="map-scale">
      {WHAT[drawnShown.value]()}
      {SAMPLES_LUFS.map((lufs) => (
        <span key={lufs}>
          <i style={{ height: `${part(lufs) * full}px` }} /> {figure(lufs, 0)}
        </span>
      ))}
      LUFS
    </p>
  );
}
