// Points of a ride: times in seconds and values, in order of time.

export type Point = [number, number];

/** Two points never come nearer than this. */
const LEAST_S = 0.01;

const rounded = ([time, value]: Point): Point => [Number(time.toFixed(3)), Number(value.toFixed(3))];

/** The value at a time: straight lines between the points, held before the first and after the last. */
export function valueAt(points: readonly Point[], time: number): number {
  const next = points.findIndex(([at]) => at >= time);
  if (next <= 0) return (next === 0 ? points[0] : points.at(-1))?.[1] ?? 0;
  const [a, b] = [points[next - 1] as Point, points[next] as Point];
  return a[1] + ((b[1] - a[1]) * (time - a[0])) / (b[0] - a[0]);
}

/** With a point more; one at the same time is replaced. */
export function added(points: readonly Point[], point: Point): Point[] {
  const others = points.filter(([time]) => Math.abs(time - point[0]) >= LEAST_S);
  return [...others, rounded(point)].toSorted((a, b) => a[0] - b[0]);
}

/** With a point moved; it stays between its neighbours. */
export function moved(points: readonly Point[], index: number, [time, value]: Point): Point[] {
  const before = (points[index - 1]?.[0] ?? -LEAST_S) + LEAST_S;
  const after = (points[index + 1]?.[0] ?? Infinity) - LEAST_S;
  return points.map((point, i) => (i === index ? rounded([Math.min(after, Math.max(before, time)), value]) : [...point]));
}

/** Without a point. */
export function removed(points: readonly Point[], index: number): Point[] {
  return points.filter((_, i) => i !== index);
}
