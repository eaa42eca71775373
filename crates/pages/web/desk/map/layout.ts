// Where everything lies on the map. Columns by the longest way from a stem, stems grouped by the bus they meet in, returns
// below the main stream, prints at the right.
import type { Network, Place, Way } from './network.ts';

export type Spot = Place & { x: number; y: number; column: number };
export type Course = Way & {
  /** Where it starts, where it begins to bend, where it ends. */
  x0: number;
  bend: number;
  x1: number;
  y0: number;
  y1: number;
  /** Whether it comes out of nothing: a stem's ribbon widens from its name. */
  springs: boolean;
};
export type Layout = { spots: Spot[]; courses: Course[]; height: number; /** Thickness of −10 LUFS. */ full: number };

export type Frame = {
  width: number;
  /** Height to fill if it can be filled legibly. */
  height: number;
  /** Room for the names of stems at the left and of prints at the right. */
  left: number;
  right: number;
  /** Height of a line of text. */
  line: number;
};

/** Columns: 0 for stems, then one more than the farthest feeder; prints stand last. */
export function columns({ places, ways }: Network): Map<string, number> {
  const feeders = new Map<string, string[]>();
  for (const way of ways) feeders.set(way.to, [...(feeders.get(way.to) ?? []), way.from]);
  const found = new Map<string, number>();
  const visit = (id: string, under: ReadonlySet<string>): number => {
    const known = found.get(id);
    if (known !== undefined) return known;
    const from = (feeders.get(id) ?? []).filter((feeder) => !under.has(feeder));
    const column = Math.max(0, ...from.map((feeder) => visit(feeder, new Set([...under, id])) + 1));
    found.set(id, column);
    return column;
  };
  for (const place of places) visit(place.id, new Set());
  for (const place of places) if (place.role === 'bus' || place.role === 'return') found.set(place.id, Math.max(1, found.get(place.id) ?? 1));
  const last = Math.max(1, ...places.filter((place) => place.role !== 'print').map((place) => found.get(place.id) ?? 0));
  for (const place of places) if (place.role === 'print') found.set(place.id, last + 1);
  return found;
}

/** A row and the gap above it. */
type Row = { id: string; gap: number; height: number };

const tall = (stack: readonly Row[]): number => stack.reduce((sum, row) => sum + row.gap + row.height, 0);

/** Rows from top to bottom: what flows together lies together. */
function rows(net: Network, keep: (place: Place) => boolean, pitch: number, least: number): Row[] {
  const kept = new Map(net.places.filter(keep).map((place) => [place.id, place]));
  const ways = net.ways.filter((way) => way.kind === 'way' && kept.has(way.from) && kept.has(way.to));
  const children = new Map<string, string[]>();
  for (const way of ways) children.set(way.to, [...(children.get(way.to) ?? []), way.from]);
  const first = firsts(net, children);
  for (const from of children.values()) from.sort((a, b) => (first.get(a) ?? 0) - (first.get(b) ?? 0));
  const out: Row[] = [];
  const seen = new Set<string>();
  const visit = (id: string): void => {
    if (seen.has(id)) return;
    seen.add(id);
    const from = children.get(id) ?? [];
    const start = out.length;
    for (const child of from) visit(child);
    if (from.length === 0) out.push({ id, gap: 0, height: kept.get(id)?.role === 'source' ? pitch : least });
    // The name of a bus stands above its ribbon: the row above keeps away from it.
    const top = out[start];
    if (from.length > 0 && start > 0 && top) top.gap = Math.max(top.gap, least - (tall(out.slice(start)) + pitch) / 2);
  };
  const roots = [...kept.keys()].filter((id) => !ways.some((way) => way.from === id));
  for (const id of [...roots, ...kept.keys()]) visit(id);
  return out;
}

/** Where in the sheet the first stem stands that flows into a place. */
function firsts(net: Network, children: ReadonlyMap<string, string[]>): Map<string, number> {
  const found = new Map(net.places.map((place, i) => [place.id, i]));
  const order = columns(net);
  for (const place of net.places.toSorted((a, b) => (order.get(a.id) ?? 0) - (order.get(b.id) ?? 0))) {
    const from = (children.get(place.id) ?? []).map((child) => found.get(child) ?? 0);
    if (from.length > 0) found.set(place.id, Math.min(...from));
  }
  return found;
}

/** Heights of the middle of each row, then of each bus between what it takes in. */
function heights(net: Network, stack: readonly Row[], from: number): Map<string, number> {
  const found = new Map<string, number>();
  let y = from;
  for (const row of stack) {
    found.set(row.id, y + row.gap + row.height / 2);
    y += row.gap + row.height;
  }
  return between(net, found);
}

/** Puts what has no row of its own between its feeders on the main way. */
function between(net: Network, found: Map<string, number>): Map<string, number> {
  const order = columns(net);
  for (const place of net.places.toSorted((a, b) => (order.get(a.id) ?? 0) - (order.get(b.id) ?? 0))) {
    if (found.has(place.id) || place.role === 'print') continue;
    const feeds = net.ways.filter((way) => way.to === place.id && way.kind === 'way').map((way) => found.get(way.from));
    const known = feeds.filter((y) => y !== undefined);
    if (known.length > 0) found.set(place.id, (Math.min(...known) + Math.max(...known)) / 2);
  }
  return found;
}

/** Least height of a row of stems, in lines of text. */
const LEAST_PITCH = 0.95;
const MOST_PITCH = 1.9;
/** Room above the first row: a bus may have its name there. */
const TOP_LINES = 1.7;
/** Height of a name with the air around it, in lines. */
const NAME_LINES = 1.15;
/** About what a return takes, before it is known how thick ribbons get. */
const RETURN_LINES = 2.2;
/** Thickness of −10 LUFS: at most, and in rows of stems, of which loud ones may touch. */
const FULL_PX = 34;
const FULL_PITCHES = 1.3;
const PRINT_LINES = 3.2;

/** How many rows of stems fit a frame. */
export function rowsThatFit(net: Network, frame: Frame): number {
  const returns = net.places.filter((place) => place.role === 'return' && !net.ways.some((way) => way.kind === 'way' && way.to === place.id)).length;
  return Math.max(6, Math.floor((frame.height - returns * RETURN_LINES * frame.line) / (LEAST_PITCH * frame.line)));
}

const isMain = (place: Place): boolean => place.role === 'source' || place.role === 'bus';
const isReturn = (place: Place): boolean => place.role === 'return';

/** Lays the network out in a frame. The map grows downwards where a row would get too low to be read. */
export function layout(net: Network, frame: Frame): Layout {
  const column = columns(net);
  const stems = Math.max(1, net.places.filter((place) => place.role === 'source').length);
  const room = frame.height - tall(rows(net, isReturn, 0, RETURN_LINES * frame.line)) - 2 * frame.line;
  const pitch = Math.min(MOST_PITCH * frame.line, Math.max(LEAST_PITCH * frame.line, room / stems));
  const full = Math.min(FULL_PX, pitch * FULL_PITCHES);
  // A row takes its ribbon and the name above it.
  const named = full + NAME_LINES * frame.line;
  const below = rows(net, isReturn, 0, named);
  const lowHeight = tall(below);
  const above = rows(net, isMain, pitch, named);
  const mainHeight = tall(above);
  const top = TOP_LINES * frame.line;
  const y = heights(net, above, top);
  for (const [id, at] of heights(net, below, top + mainHeight + frame.line * 0.6)) if (!y.has(id)) y.set(id, at + frame.line * 0.5);
  const height = top + mainHeight + lowHeight + 1.4 * frame.line;
  placePrints(net, y, PRINT_LINES * frame.line, height);
  const x = across(column, frame);
  const spots = net.places.map((place) => {
    const at = column.get(place.id) ?? 0;
    return { ...place, column: at, x: x(at), y: y.get(place.id) ?? height / 2 };
  });
  return { spots, courses: courses(net, spots, x), height, full };
}

/** Prints stand at the right, around the bus that they draw from. */
function placePrints(net: Network, y: Map<string, number>, gap: number, height: number): void {
  const byBus = new Map<string, string[]>();
  for (const way of net.ways) if (way.kind === 'draw') byBus.set(way.from, [...(byBus.get(way.from) ?? []), way.to]);
  let next = 0;
  for (const [bus, prints] of byBus) {
    const middle = y.get(bus) ?? height / 2;
    const top = Math.max(gap / 2, next, Math.min(middle - ((prints.length - 1) / 2) * gap, height - (prints.length - 0.5) * gap));
    prints.forEach((print, i) => y.set(print, top + i * gap));
    next = top + prints.length * gap;
  }
}

/** Columns at even distances between the names at the left and those at the right. */
function across(column: ReadonlyMap<string, number>, frame: Frame): (column: number) => number {
  const last = Math.max(1, ...column.values());
  return (at) => frame.left + ((frame.width - frame.left - frame.right) * at) / last;
}

/** Part of a column over which a bus flows straight on, beside its name. */
const FLAT = 0.4;

function courses(net: Network, spots: readonly Spot[], x: (column: number) => number): Course[] {
  const at = new Map(spots.map((spot) => [spot.id, spot]));
  return net.ways.flatMap((way) => {
    const [from, to] = [at.get(way.from), at.get(way.to)];
    if (!from || !to) return [];
    const step = x(1) - x(0);
    // A way that passes several columns keeps to its own row until the last; a bus first makes room for its name.
    const flat = way.kind === 'way' && from.role !== 'source' ? step * FLAT : 0;
    const bend = way.kind === 'send' ? from.x : Math.max(from.x + flat, to.x - step);
    return [{ ...way, x0: from.x, bend, x1: to.x, y0: from.y, y1: to.y, springs: from.role === 'source' && way.kind === 'way' }];
  });
}
