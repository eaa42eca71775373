// Going over the map with the arrow keys: along the flow, and up and down within a column.
import type { Layout, Spot } from './layout.ts';

/** Where a key leads from a place; nothing if it leads nowhere. */
export function walk(layout: Layout, from: string, key: string): string | null {
  const here = layout.spots.find((spot) => spot.id === from);
  if (!here) return layout.spots[0]?.id ?? null;
  switch (key) {
    case 'ArrowRight':
      return along(layout, here, 'from', 'to');
    case 'ArrowLeft':
      return along(layout, here, 'to', 'from');
    case 'ArrowDown':
      return beside(layout, here, 1);
    case 'ArrowUp':
      return beside(layout, here, -1);
    case 'Home':
      return ordered(layout)[0]?.id ?? null;
    case 'End':
      return ordered(layout).at(-1)?.id ?? null;
    default:
      return null;
  }
}

/** Places as they are read: column by column, from top to bottom. */
export function ordered(layout: Layout): Spot[] {
  return layout.spots.toSorted((a, b) => a.column - b.column || a.y - b.y);
}

/** With the flow or against it: the main way goes before copies, the nearest before others. */
function along(layout: Layout, here: Spot, near: 'from' | 'to', far: 'from' | 'to'): string | null {
  const rank = { way: 0, draw: 0, send: 1 };
  const ways = layout.courses.filter((course) => course[near] === here.id);
  const distance = (id: string): number => Math.abs((layout.spots.find((spot) => spot.id === id)?.y ?? 0) - here.y);
  const sorted = ways.toSorted((a, b) => rank[a.kind] - rank[b.kind] || distance(a[far]) - distance(b[far]));
  return sorted[0]?.[far] ?? null;
}

function beside(layout: Layout, here: Spot, way: 1 | -1): string | null {
  const column = layout.spots.filter((spot) => spot.column === here.column).toSorted((a, b) => a.y - b.y);
  return column[column.findIndex((spot) => spot.id === here.id) + way]?.id ?? null;
}
