import { describe, expect, it } from 'vitest';
import type { Node, Now, Print } from '../protocol.ts';
import { columns, type Frame, layout, rowsThatFit } from './layout.ts';
import { mean, sum, surveyed } from './levels.ts';
import { bundled, network, roles } from './network.ts';
import { mouths, part } from './ribbon.ts';
import { silenceAt, states } from './silence.ts';
import { walk } from './walk.ts';

const card = { chain: [], sentence: [], sends: [], processors: [], rides: [] };
const node = (name: string, role: Node['role'], to: string | null, sends: string[] = []): Node => ({
  name, role, to, sends, mute: false, expect_silence: false, card,
});
const print = (name: string): Print => ({ name, from: 'mix', card });

const small = {
  nodes: [
    node('kick', 'source', 'drums'), node('bass', 'source', 'band'), node('snare', 'source', 'drums', ['room']), node('toms', 'source', 'drums'),
    node('voice', 'source', 'mix', ['room']), node('drums', 'bus', 'band', ['crush']), node('band', 'bus', 'mix'),
    node('room', 'return', 'mix'), node('crush', 'return', 'mix'), node('mix', 'bus', null),
  ],
  prints: [print('loud'), print('mastering')],
};
const frame: Frame = { width: 1200, height: 500, left: 150, right: 150, line: 19 };

/** A sheet of 40 stems on eight buses. */
const large = {
  nodes: [
    ...Array.from({ length: 40 }, (_, i) => node(`stem ${i}`, 'source', `bus ${i % 8}`)),
    ...Array.from({ length: 8 }, (_, i) => node(`bus ${i}`, 'bus', 'mix')),
    node('mix', 'bus', null),
  ],
  prints: [print('loud')],
};

describe('columns', () => {
  it('stand one behind the farthest feeder; prints stand last', () => {
    const found = columns(network(small, new Set()));
    expect(['kick', 'voice', 'drums', 'room', 'band', 'crush', 'mix', 'loud'].map((id) => found.get(id))).toEqual([0, 0, 1, 1, 2, 2, 3, 4]);
  });

  it('end although a sheet goes round in a circle', () => {
    const round = { nodes: [node('a', 'bus', 'b'), node('b', 'bus', 'a')], prints: [] };
    expect(columns(network(round, new Set())).size).toBe(2);
  });
});

describe('the layout', () => {
  const found = layout(network(small, new Set()), frame);
  const at = (id: string) => found.spots.find((spot) => spot.id === id) ?? { x: 0, y: 0 };

  it('groups stems by their bus, in the order of the sheet', () => {
    const stems = found.spots.filter((spot) => spot.role === 'source').toSorted((a, b) => a.y - b.y);
    expect(stems.map((spot) => spot.id)).toEqual(['kick', 'snare', 'toms', 'bass', 'voice']);
  });

  it('puts a bus between what flows into it, and returns below the main stream', () => {
    expect(at('drums').y).toBeCloseTo((at('kick').y + at('toms').y) / 2);
    const lowest = Math.max(...found.spots.filter((spot) => spot.role !== 'return' && spot.role !== 'print').map((spot) => spot.y));
    expect(Math.min(at('room').y, at('crush').y)).toBeGreaterThan(lowest);
    expect(found.height).toBeGreaterThan(Math.max(at('room').y, at('crush').y));
  });

  it('leaves room for names at both sides', () => {
    expect([at('kick').x, at('loud').x]).toEqual([150, 1050]);
  });

  it('keeps rows apart by at least a line’s small height', () => {
    const rows = layout(network(large, new Set()), frame).spots.filter((spot) => spot.column === 0).map((spot) => spot.y).toSorted((a, b) => a - b);
    for (let i = 1; i < rows.length; i += 1) expect((rows[i] ?? 0) - (rows[i - 1] ?? 0)).toBeGreaterThanOrEqual(0.95 * 19 - 0.01);
  });
});

it('lays what only returns flow into with the returns', () => {
  const nodes = [...small.nodes.filter((each) => each.name !== 'room'), node('room', 'return', 'space'), node('space', 'bus', 'mix'), node('hall', 'bus', 'mix')];
  const found = roles({ nodes });
  expect(['room', 'space', 'hall', 'drums', 'mix'].map((name) => found.get(name))).toEqual(['return', 'return', 'bus', 'bus', 'bus']);
});

describe('bundles', () => {
  it('close where more stems stand than fit, the largest first, and open on demand', () => {
    const most = rowsThatFit(network(large, new Set()), frame);
    const closed = bundled(large, most, new Map());
    expect(closed.size).toBeGreaterThanOrEqual(3);
    const net = network(large, closed);
    expect(net.places.filter((place) => place.role === 'source').length).toBeLessThanOrEqual(most);
    expect(bundled(large, most, new Map([['bus 0', false]])).has('bus 0')).toBe(false);
    expect(bundled(small, 20, new Map())).toEqual(new Set());
    expect(bundled(small, 20, new Map([['drums', true]]))).toEqual(new Set(['drums']));
  });

  it('stand for their stems, sends included', () => {
    const net = network(small, new Set(['drums']));
    expect(net.places.find((place) => place.id === 'stems of drums')?.members).toEqual(['kick', 'snare', 'toms']);
    expect(net.ways.filter((way) => way.from === 'stems of drums').map((way) => way.to).toSorted()).toEqual(['drums', 'room']);
  });
});

describe('thickness', () => {
  it('is linear in LU, none at −60 and full at −10', () => {
    expect([null, -80, -60, -35, -10, 0].map(part)).toEqual([0, 0, 0, 0.5, 1, 1]);
  });

  it('of what flows in fills what it flows into', () => {
    const shares = mouths(20, [10, 30]);
    expect(shares.map((share) => share.mouth)).toEqual([5, 15]);
    expect(shares.map((share) => share.shift)).toEqual([-7.5, 2.5]);
    expect(mouths(20, [0, 0]).every((share) => share.mouth === 0)).toBe(true);
  });
});

it('adds and averages loudness by energy', () => {
  // Two equal powers are 10 lg 2 = 3.01 dB more than one (closed form).
  expect(sum([-20, -20])).toBeCloseTo(-16.99, 2);
  expect(mean([-20, null])).toBeCloseTo(-23.01, 2);
  expect(mean([null])).toBeNull();
  // (0.01 + 0.01 + 0.01 + 0.1) / 4 = 0.0325, which is −14.88 dB.
  expect(surveyed([-20, -20, -20, -10], 1, 3)).toEqual({ momentary: -10, short_term: expect.closeTo(-14.88, 2) });
  expect(surveyed([], 10, 1).momentary).toBeNull();
});

const view = (nodes: Node[]) =>
  ({ nodes, prints: small.prints, ear: { alone: [], silent: [], without: [] } }) as unknown as Parameters<typeof states>[0];
const history = (values: (number | null)[]) => ({
  a_second: 1, programmes: [],
  nodes: [{ name: 'kick', integrated_lufs: null, loudness_range_lu: null, true_peak_dbtp: null, momentary_lufs: values }],
});

describe('silence', () => {

  it('is measured to both sides', () => {
    expect(silenceAt([-20, null, null, -90, -20], 1, 2)).toEqual([1, 1]);
    expect(silenceAt([-20, null], 1, 0)).toBeNull();
  });

  it('has a reason in words', () => {
    const others = small.nodes.slice(1);
    const of = (change: Partial<Node>) => states(view([{ ...node('kick', 'source', 'drums'), ...change }, ...others]), null, null, 0).get('kick');
    expect(of({ mute: true })).toEqual({ kind: 'outlined', why: 'muted in the sheet' });
    expect(of({ to: null })).toEqual({ kind: 'broken', why: 'it goes nowhere' });
    const lonely = states(view([node('dirt', 'return', 'mix'), node('mix', 'bus', null)]), null, null, 0).get('dirt');
    expect(lonely?.why).toBe('nothing feeds it');
  });

  it('is no fault while the song waits at its start', () => {
    const kick = node('kick', 'source', 'mix');
    expect(states(view([kick, node('mix', 'bus', null)]), null, history([null, null, null, null, null]), 0).get('kick')?.kind).toBe('flows');
  });

  it('of a file is a fault only where sound is expected', () => {
    const kick = node('kick', 'source', 'mix');
    const silentFor = history([-20, null, null, null, null, -20]);
    expect(states(view([kick, node('mix', 'bus', null)]), null, silentFor, 2).get('kick')).toEqual({ kind: 'broken', why: 'its file is silent here, for 3 s' });
    expect(states(view([{ ...kick, expect_silence: true }, node('mix', 'bus', null)]), null, silentFor, 2).get('kick')?.kind).toBe('dry');
    expect(states(view([kick, node('mix', 'bus', null)]), null, silentFor, 0).get('kick')?.kind).toBe('flows');
  });

  it('is no fault at the edge of what was surveyed: the desk is ahead of the ear', () => {
    const all = view([node('kick', 'source', 'mix'), node('mix', 'bus', null)]);
    const quiet = { playing: true, nodes: [[null, null], [-20, -20]] } as unknown as Now;
    const sounds = history([-20, -20, -20, -20, null]);
    expect(states(all, quiet, sounds, 3).get('kick')?.kind).toBe('dry');
    expect(states(all, quiet, sounds, 1).get('kick')).toEqual({ kind: 'broken', why: 'it was heard here before the last changes' });
  });
});

it('walks along the flow', () => {
  const found = layout(network(small, new Set()), frame);
  expect(walk(found, 'snare', 'ArrowRight')).toBe('drums');
  expect(walk(found, 'drums', 'ArrowLeft')).toBe('snare');
  expect(walk(found, 'kick', 'ArrowDown')).toBe('snare');
  expect(walk(found, 'kick', 'ArrowUp')).toBeNull();
  expect(walk(found, 'kick', 'Home')).toBe('kick');
  expect(walk(found, 'mix', 'ArrowRight')).toMatch(/loud|mastering/);
});
