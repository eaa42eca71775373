// Numbers that move over the song, as points in words. The strip draws the same points.
import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { edit } from '../edits.ts';
import type { Card, Ride } from '../protocol.ts';
import { heardAt } from '../state.ts';
import { added, moved, removed, valueAt } from '../strip/points.ts';
import { figure, place } from '../words.ts';
import { NumberWord } from './number.tsx';

/** What a ride moves, in words, and its unit: `level_db` is the level, in dB. */
export function rideName(what: string): { name: string; unit: string } {
  const key = what.split('.').at(-1) ?? what;
  const found = /^(.*)_(db|hz|ms|s|m|percent)$/.exec(key);
  const units: Record<string, string> = { db: 'dB', hz: 'Hz', ms: 'ms', s: 's', m: 'm', percent: '%' };
  const before = what.slice(0, what.length - key.length).replace(/\.$/, ' ');
  return { name: `${before}${(found?.[1] ?? key).replaceAll('_', ' ')}`, unit: found ? (units[found[2] ?? ''] ?? '') : '' };
}

/** Writes the points of a ride. */
export function setPoints(ride: Ride, points: Ride['points'], words: string): void {
  edit(words, { edit: 'set', path: [...ride.path, 'points'], value: points });
}

export function Rides({ card, owner }: { card: Card; owner: string }): JSX.Element | null {
  if (card.rides.length === 0) return null;
  return (
    <ul class="rides">
      {card.rides.map((ride) => (
        <RideText key={JSON.stringify(ride.path)} ride={ride} owner={owner} />
      ))}
    </ul>
  );
}

function RideText({ ride, owner }: { ride: Ride; owner: string }): JSX.Element {
  const [whole, setWhole] = useState(false);
  const { name, unit } = rideName(ride.what);
  const values = ride.points.map(([, value]) => value);
  const of = `${name} of ${owner}`;
  const takes = { kind: 'number', unit, low: -120, high: unit === 'Hz' ? 20_000 : 100, rest: 0, by_ratio: unit === 'Hz' } as const;
  const at = heardAt.value;
  return (
    <li class="sentence">
      Its {name} rides between {figure(Math.min(...values), 1)} and {figure(Math.max(...values), 1)} {unit}
      {whole && ride.points.map(([time, value], i) => (
        // oxlint-disable-next-line react/no-array-index-key -- a point is known by its order alone
        <span key={`${i}`} class="point">
          {i === 0 ? ': ' : ', '}
          <NumberWord
            label={`${name} at ${place(time, 1)}`}
            about=""
            takes={{ ...takes, value }}
            onChange={(to) => setPoints(ride, moved(ride.points, i, [time, to]), `${of} at ${place(time, 1)} to ${figure(to, 1)} ${unit}`)}
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
