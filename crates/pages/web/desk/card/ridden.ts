// The number that a ride moves: the card has it among its controls, with its unit and range.
import type { Card, Control, Phrase, Ride } from '../protocol.ts';
import type { NumberTakes } from '../steps.ts';

const LEVEL: NumberTakes = { kind: 'number', value: 0, unit: 'dB', low: -120, high: 24, rest: 0, by_ratio: false };

/** The controls of a sentence. */
export function controls(phrases: readonly Phrase[]): Control[] {
  return phrases.flatMap((phrase) => phrase.pieces.flatMap((piece) => ('control' in piece ? [piece.control] : [])));
}

/** Controls of a card that are not a send's. */
function all(card: Card): Control[] {
  const chain = card.processors.flatMap((processor) => [
    ...controls(processor.sentence),
    ...processor.more,
    ...processor.rows.flatMap((row) => [...controls(row.sentence), ...row.more]),
  ]);
  return [...controls(card.sentence), ...chain];
}

/** What the number of a ride takes. A ride names it in words: `level`, `send to room`, `threshold of the compressor`. */
export function takesOf(card: Card, ride: Ride): NumberTakes {
  const send = card.sends.find((each) => ride.what === `send to ${each.to}`);
  const name = send ? 'level' : (ride.what.split(' of the ')[0] ?? ride.what);
  const among = send ? controls(send.sentence) : all(card);
  for (const control of among) if (control.ridden && control.name === name && control.takes.kind === 'number') return control.takes;
  return LEVEL;
}
