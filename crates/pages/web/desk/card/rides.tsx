// Numbers that move over the song, as points in words. The strip draws the same points.
import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { edit } from '../edits.ts';
import type { Card, Ride } from '../protocol.ts';
import { heardAt } from '../state.ts';
import { added, moved, removed, valueAt } from '../strip/points.ts';
import { amount, place } from '../words.ts';
import { NumberWord } from './number.tsx';
import { takesOf } from './ridden.ts';

/** Writes the points of a ride. */
export function setPoints(ride: Ride, points: Ride['points'], words: string): void {
  edit(words, { edit: 'set', path: [...ride.path, 'points'], value: points });
}

export function Rides({ card, owner }: { card: Card; owner: string }): JSX.Element | null {
  if (card.rides.length === 0) return null;
  return (
    <ul class="rides">
      {card.rides.map((ride) => (
        <RideText key={JSON.stringify(ride.path)} card={card} ride={ride} owner={owner} />
      ))}
    </ul>
  );
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
      Over the song its {name} moves between {amount(Math.min(...values), unit)} and {amount(Math.max(...values), unit)}
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
