// How loud it is at the ears, from what somebody reads off a sound level meter, and how much that adds up to.
import type { JSX } from 'preact';
import { ask } from './link.ts';
import { exposure, playing } from './state.ts';
import { typed, typeset } from './words.ts';

export function Exposure(): JSX.Element {
  const take = (event: JSX.TargetedEvent<HTMLInputElement>): void => {
    const dba = typed(event.currentTarget.value, 'dBA');
    if (dba !== null || event.currentTarget.value.trim() === '') ask({ ask: 'room', dba });
  };
  return (
    <p class="exposure">
      {playing.value ? 'A sound level meter at your ears (A, slow) now reads ' : 'While it plays, a sound level meter at your ears (A, slow) reads '}
      <input class="word" type="text" inputMode="decimal" aria-label="Level at your ears, in dBA" placeholder="unknown" size={7} disabled={!playing.value} onChange={take} />{' '}
      dBA.{' '}
      {exposure.value === null
        ? 'Say what it reads, and the desk adds up what your ears have had.'
        : `${typeset(exposure.value)} It is an estimate, good to some decibels and in this room alone, of what left this desk: it knows nothing of what you hear elsewhere, and it is no hearing test. The rules of your country go first.`}
    </p>
  );
}
