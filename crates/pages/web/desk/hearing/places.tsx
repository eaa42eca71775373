// Places in the song as words: where it is, and what is looped. They stand where the song is not drawn.
import type { JSX } from 'preact';
import { hear } from '../link.ts';
import type { View } from '../protocol.ts';
import { seek } from '../sound/player.ts';
import { beat, heardAt } from '../state.ts';
import { place, typedPlace } from '../words.ts';
import { sane } from './passage.ts';

export function Places({ all }: { all: View }): JSX.Element {
  const span = all.hearing.span_s;
  const length = all.song.length_s;
  const at = beat.value?.playing ? heardAt.peek() : heardAt.value;
  return (
    <p>
      The song is at <Place label="Place in the song" at={at} onPlace={(to) => seek(Math.min(length, to))} /> of {place(length)}
      {span && (
        <>
          ; it loops from <Place label="Start of the loop" at={span[0]} onPlace={(from) => hear({ span_s: sane([from, span[1]], length) })} /> to{' '}
          <Place label="End of the loop" at={span[1]} onPlace={(to) => hear({ span_s: sane([span[0], to], length) })} />
        </>
      )}
      .
    </p>
  );
}

function Place({ label, at, onPlace }: { label: string; at: number; onPlace: (to: number) => void }): JSX.Element {
  const take = (event: JSX.TargetedEvent<HTMLInputElement>): void => {
    const to = typedPlace(event.currentTarget.value);
    if (to !== null) onPlace(to);
    event.currentTarget.value = place(to ?? at, 1);
  };
  return <input class="word place" type="text" inputMode="decimal" aria-label={label} value={place(at, 1)} size={7} onChange={take} />;
}
