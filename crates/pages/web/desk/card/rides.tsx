// Numbers that move over the song, as points in words. The strip draws the same points.
import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { edit } from '../edits.ts';
import type { Card, Ride } from '../protocol.ts';
import { heardAt } from '../state.ts';
import { added, moved, removed, valueAt } from '../strip/points.ts';
import { amount, place } from '../words.ts';
import { Choice } from '../../shared/sentence.tsx';
import { pictures } from '../settings.ts';
import { NumberWord } from './number.tsx';
import { takesOf } from './ridden.ts';
import { rideable, show, shown } from './shown.ts';

/** Writes the points of a ride. */
export function setPoints(ride: Ride, points: Ride['points'], words: string): void {
  edit(words, { edit: 'set', path: [...ride.path, 'points'], value: points });
}

export function Rides({ card, owner }: { card: Card; owner: string }): JSX.Element | null {
  return (
    <ul class="rides">
      {card.rides.map((ride) => (
        <RideText key={JSON.stringify(ride.path)} card={card} ride={ride} owner={owner} />
      ))}
      <Begin card={card} owner={owner} />
    </ul>
  );
}

/** Lets one more number move, beginning with one point at the place that is heard. */
function Begin({ card, owner }: { card: Card; owner: string }): JSX.Element | null {
  const able = rideable(card);
  const list = card.chain.slice(0, 2);
  if (able.length === 0 || card.chain[0] === 'print') return null;
  const choices = [{ value: '', text: 'choose a number' }, ...able.map(({ name, what }) => ({ value: what, text: name }))];
  const begin = (what: string): void => {
    const one = able.find((each) => each.what === what);
    if (one?.control.takes.kind !== 'number') return;
    const at = Number(heardAt.peek().toFixed(2));
    const path = [...list, 'rides'];
    show([...path, card.rides.length]);
    edit(`${one.name} of ${owner} rides`, { edit: 'insert', path, at: card.rides.length, value: { what, points: [[at, one.control.takes.value]] } });
  };
  return (
    <li class="sentence add">
      Over the song let <Choice label="Let a number move over the song" value="" choices={choices} onChoose={begin} /> move.
    </li>
  );
}

/** How far a number moves. */
function movement(values: readonly number[], unit: string): string {
  const [low, high] = [Math.min(...values), Math.max(...values)];
  return low === high ? `stays at ${amount(low, unit)}` : `moves between ${amount(low, unit)} and ${amount(high, unit)}`;
}

function RideText({ card, ride, owner }: { card: Card; ride: Ride; owner: string }): JSX.Element {
  const [whole, setWhole] = useState(false);
  const takes = takesOf(card, ride);
  const [name, unit] = [ride.what, takes.unit];
  const values = ride.points.map(([, value]) => value);
  const of = `${name} of ${owner}`;
  const at = heardAt.value;
  return (
    <li class="sentence">
      Over the song its {name} {movement(values, unit)}
      {whole && ride.points.map(([time, value], i) => (
        // oxlint-disable-next-line react/no-array-index-key -- a point is known by its order alone
        <span key={`${i}`} class="point">
          {i === 0 ? ': ' : ', '}
          <NumberWord
            label={`${name} at ${place(time, 1)}`}
            about=""
            takes={{ ...takes, value }}
            onChange={(to) => setPoints(ride, moved(ride.points, i, [time, to]), `${of} at ${place(time, 1)} to ${amount(to, unit)}`)}
          />{' '}
          at {place(time, 1)}
          {ride.points.length > 1 && (
            <button type="button" class="quiet" aria-label={`remove the point at ${place(time, 1)}`} onClick={() => setPoints(ride, removed(ride.points, i), `${of}: no point at ${place(time, 1)}`)}>
              ×
            </button>
          )}
        </span>
      ))}
      .{' '}
      {pictures.value && card.rides.length > 1 && (
        <button type="button" class="quiet" aria-pressed={shown.value?.path.at(-1) === ride.path.at(-1)} onClick={() => show(ride.path)}>
          drawn on the song
        </button>
      )}
      <button type="button" class="quiet" aria-expanded={whole} onClick={() => setWhole(!whole)}>
        {whole ? 'fold its points' : `its ${ride.points.length} points`}
      </button>
      {whole && (
        <button type="button" class="quiet" onClick={() => setPoints(ride, added(ride.points, [at, valueAt(ride.points, at)]), `${of}: a point at ${place(at, 1)}`)}>
          add a point here
        </button>
      )}
    </li>
  );
}
