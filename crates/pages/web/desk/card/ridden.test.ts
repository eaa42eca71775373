import { expect, it } from 'vitest';
import type { Card, Control, Phrase } from '../protocol.ts';
import { takesOf } from './ridden.ts';

const control = (name: string, unit: string, ridden: boolean): Control => ({
  path: ['bus', 'crush', name], name, sentence: '', ridden,
  takes: { kind: 'number', value: 0, unit, low: -60, high: 0, rest: 0, by_ratio: false },
});
const phrase = (...controls: Control[]): Phrase => ({ at_rest: false, pieces: controls.map((each) => ({ control: each })) });
const card: Card = {
  chain: [], rides: [],
  sentence: [phrase(control('level', 'dB', false))],
  sends: [{ path: [], to: 'room', sentence: [phrase(control('level', 'LUFS', true))] }],
  processors: [{
    path: [], name: 'compressor', title: 'compressor', summary: '', caution: '', off: false, figure: null, key: null, more: [], rows_name: null, rows: [],
    sentence: [phrase(control('threshold', 'dB', true), control('attack', 'ms', true))],
  }],
};
const ride = (what: string) => ({ path: [], what, points: [] });

it('finds the number that a ride moves, with its unit', () => {
  expect(takesOf(card, ride('attack of the compressor')).unit).toBe('ms');
  expect(takesOf(card, ride('send to room')).unit).toBe('LUFS');
  expect(takesOf(card, ride('level'))).toMatchObject({ unit: 'dB', low: -120 });
});
