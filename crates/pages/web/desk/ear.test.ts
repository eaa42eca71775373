import { expect, it } from 'vitest';
import { ALL, alone, silent, sounding, without } from './ear.ts';
import type { Node } from './protocol.ts';

const node = (name: string, to: string | null, sends: string[] = []): Node => ({
  name, role: 'bus', to, sends, mute: false, expect_silence: false,
  card: { chain: [], sentence: [], sends: [], processors: [], rides: [] },
});
const nodes = [node('kick', 'drums'), node('snare', 'drums', ['room']), node('voice', 'mix'), node('drums', 'mix'), node('room', 'mix'), node('mix', null)];

it('takes back what it does', () => {
  expect(alone(alone(ALL, 'kick'), 'kick')).toEqual(ALL);
  expect(without(without(ALL, 'drums', 1), 'drums', 1)).toEqual(ALL);
  expect(alone(silent(ALL, 'kick'), 'kick')).toEqual({ alone: ['kick'], silent: [], without: [] });
});

it('keeps what feeds and what follows a node that is heard alone', () => {
  expect([...sounding(nodes, alone(ALL, 'snare'))].toSorted()).toEqual(['drums', 'mix', 'room', 'snare']);
  expect([...sounding(nodes, alone(ALL, 'drums'))].toSorted()).toEqual(['drums', 'kick', 'mix', 'snare']);
  expect(sounding(nodes, ALL).size).toBe(nodes.length);
});
