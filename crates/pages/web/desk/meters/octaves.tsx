// The correlation of left and right in each octave: a mark on a line from opposite, by unrelated, to alike.
import { useSignalEffect } from '@preact/signals';
import type { JSX } from 'preact';
import { useRef } from 'preact/hooks';
import { pictures } from '../settings.ts';
import { beat, now } from '../state.ts';
import { lowest, octave, octavesInWords } from './readings.ts';

/** Height of the marks' ways, as the style has it. */
const WAY_PX = 18;

export function Octaves(): JSX.Element | null {
  const marks = useRef<HTMLSpanElement>(null);
  useSignalEffect(() => {
    const all = now.value?.heard.octave_correlations ?? [];
    [...(marks.current?.children ?? [])].forEach((child, i) => {
      const value = all[i]?.[1] ?? null;
      const mark = child.firstElementChild as HTMLElement;
      mark.style.transform = `translateY(${((1 - (value ?? 0)) / 2) * WAY_PX}px)`;
      mark.hidden = value === null;
    });
  });
  const all = beat.value?.heard.octave_correlations ?? [];
  // With pictures its place is kept, so that nothing moves when the first sound comes.
  if (all.length === 0 && !pictures.value) return null;
  const least = lowest(all);
  return (
    <div class="row octaves">
      <span class="soft">by octave</span>
      {pictures.value ? (
        <span class="ways" ref={marks} aria-hidden="true">
          {all.map(([hz]) => (
            <span key={hz}>
              <i />
              <small>{octave(hz)}</small>
            </span>
          ))}
        </span>
      ) : (
        <span>{octavesInWords(all)}</span>
      )}
      <span class="steady">{least === null ? '—' : `least ${least}`}</span>
    </div>
  );
}
