import { expect, it } from 'vitest';
import type { Card, Control, Path, Phrase, Ride } from '../protocol.ts';
import { rideable, shownOf } from './shown.ts';

const number = (path: Path, ridden = false): Control => ({
  path, name: String(path.at(-1)).replace(/_.*/, ''), sentence: '', ridden,
  takes: { kind: 'number', value: 0, unit: 'dB', low: -60, high: 0, rest: 0, by_ratio: false },
});
const choice = (path: Path): Control => ({ ...number(path), takes: { kind: 'choice', value: 'bell', options: ['bell'] } });
const phrase = (...controls: Control[]): Phrase => ({ at_rest: false, pieces: controls.map((control) => ({ control })) });
const own = ['bus', 'crush'];
const eq = (i: number) => ({
  path: [...own, 'chain', i], name: 'eq', title: 'equaliser', summary: '', caution: '', off: false, figure: null, key: null, sentence: [], more: [],
  rows_name: ['bands', 'band'] as [string, string],
  rows: [0, 1].map((row) => ({ path: [...own, 'chain', i, 'eq', 'bands', row], more: [], sentence: [phrase(choice([...own, 'chain', i, 'eq', 'bands', row, 'shape']), number([...own, 'chain', i, 'eq', 'bands', row, 'gain_db']), number([...own, 'chain', i, 'eq', 'of']))] })),
});
const card: Card = {
  chain: [...own, 'chain'], rides: [],
  sentence: [phrase(number([...own, 'level_db'], true), number([...own, 'pan_percent']), number([...own, 'delay_ms']))],
  sends: [{ path: [...own, 'sends', 0], to: 'room', sentence: [phrase(number([...own, 'sends', 0, 'level_db']))] }],
  processors: [eq(0), { ...eq(1), rows_name: null, rows: [], name: 'compressor', title: 'compressor', sentence: [phrase(number([...own, 'chain', 1, 'compressor', 'threshold_db']))] }, eq(2)],
};

it('names what can ride as the sheet does', () => {
  expect(rideable(card).map(({ what }) => what)).toEqual([
    'pan_percent', 'send room.level_db', 'eq.bands.gain_db', 'eq.bands 2.gain_db', 'compressor.threshold_db', 'eq 2.bands.gain_db', 'eq 2.bands 2.gain_db',
  ]);
  expect(rideable(card).at(-1)?.name).toBe('gain of band 2 of the equaliser 2');
});

it('draws the ride that was chosen, else the first', () => {
  const rides: Ride[] = [0, 1].map((i) => ({ path: [...own, 'rides', i], what: 'level', points: [] }));
  expect(shownOf(rides, JSON.stringify([...own, 'rides', 1]))).toBe(rides[1]);
  expect(shownOf(rides, 'elsewhere')).toBe(rides[0]);
  expect(shownOf([], null)).toBeNull();
});
