// The network as the map draws it: stems, bundles of stems, buses, returns and prints, and the ways between them.
import type { Card, View } from '../protocol.ts';

export type Role = 'source' | 'bus' | 'return' | 'print';

export type Place = {
  /** Name of the node or print, or `stems of BUS` for a bundle. */
  id: string;
  role: Role;
  /** The stems that a bundle stands for. */
  members: readonly string[];
};

export type Way = {
  from: string;
  to: string;
  /** A way carries all, a send a copy at a level, a draw what a print takes from its bus. */
  kind: 'way' | 'send' | 'draw';
  level_db: number;
};

export type Network = { places: Place[]; ways: Way[] };

type Parts = Pick<View, 'nodes' | 'prints'>;

/**
 * Roles on the map. A bus that only returns flow into is one of the returns: it lies with them, below the main stream.
 */
export function roles({ nodes }: Pick<Parts, 'nodes'>): Map<string, Role> {
  const found = new Map<string, Role>(nodes.map((node) => [node.name, node.role]));
  for (let before = ''; before !== [...found.values()].join(); ) {
    before = [...found.values()].join();
    for (const node of nodes) {
      const from = nodes.filter((other) => other.to === node.name).map((other) => found.get(other.name));
      if (node.role === 'bus' && from.length > 0 && from.every((role) => role === 'return')) found.set(node.name, 'return');
    }
  }
  return found;
}

/** The name of the bundle of a bus's stems. */
export const bundleOf = (bus: string): string => `stems of ${bus}`;

/** Stems by the bus they go to. */
export function groups({ nodes }: Parts): Map<string, string[]> {
  const found = new Map<string, string[]>();
  for (const node of nodes) {
    if (node.role !== 'source' || node.to === null) continue;
    found.set(node.to, [...(found.get(node.to) ?? []), node.name]);
  }
  return found;
}

/** Fewer stems than this are not worth a bundle. */
const LEAST = 3;

/** The buses whose stems are drawn as one ribbon, so that no more than `most` rows of stems stand on the map. */
export function bundled(parts: Parts, most: number, chosen: ReadonlyMap<string, boolean>): Set<string> {
  const all = groups(parts);
  const able = [...all].filter(([, stems]) => stems.length >= LEAST);
  const closed = new Set(able.filter(([bus]) => chosen.get(bus) === true).map(([bus]) => bus));
  let rows = parts.nodes.filter((node) => node.role === 'source').length;
  for (const bus of closed) rows -= (all.get(bus)?.length ?? 1) - 1;
  const largest = able.toSorted((a, b) => b[1].length - a[1].length);
  for (const [bus, stems] of largest) {
    if (rows <= most) break;
    if (closed.has(bus)) continue;
    closed.add(bus);
    rows -= stems.length - 1;
  }
  // What was opened stays open, and closes nothing else: the map grows.
  for (const [bus, close] of chosen) if (!close) closed.delete(bus);
  return closed;
}

/** The level that a card states for its copy to a bus; 0 dB if it is not a number. */
function sendLevel(card: Card, index: number): number {
  for (const phrase of card.sends[index]?.sentence ?? []) {
    for (const piece of phrase.pieces) {
      if (!('control' in piece) || piece.control.takes.kind !== 'number') continue;
      if (piece.control.path.at(-1) === 'level_db') return piece.control.takes.value;
    }
  }
  return 0;
}

/** The network with the stems of `closed` buses bundled. */
export function network(parts: Parts, closed: ReadonlySet<string>): Network {
  const stemGroups = groups(parts);
  const standsIn = new Map<string, string>();
  for (const bus of closed) for (const stem of stemGroups.get(bus) ?? []) standsIn.set(stem, bundleOf(bus));
  const role = roles(parts);
  const places = new Map<string, Place>();
  const ways = new Map<string, Way>();
  const add = (way: Way): void => {
    if (!ways.has(`${way.from}→${way.to}`)) ways.set(`${way.from}→${way.to}`, way);
  };
  for (const node of parts.nodes) {
    const id = standsIn.get(node.name) ?? node.name;
    const members = id === node.name ? [] : (stemGroups.get(node.to ?? '') ?? []);
    places.set(id, { id, role: role.get(node.name) ?? node.role, members });
    if (node.to !== null) add({ from: id, to: node.to, kind: 'way', level_db: 0 });
    node.sends.forEach((to, i) => add({ from: id, to, kind: 'send', level_db: sendLevel(node.card, i) }));
  }
  for (const print of parts.prints) {
    places.set(print.name, { id: print.name, role: 'print', members: [] });
    add({ from: print.from, to: print.name, kind: 'draw', level_db: 0 });
  }
  return { places: [...places.values()], ways: [...ways.values()] };
}
