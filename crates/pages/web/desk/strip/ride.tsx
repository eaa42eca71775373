// A ride of what is chosen, drawn over the song: its points can be drawn, a click on the line adds one, a double click
// takes one away. The card holds the same points in words, for the keyboard.
import { signal } from '@preact/signals';
import type { JSX } from 'preact';
import { takesOf } from '../card/ridden.ts';
import { setPoints } from '../card/rides.tsx';
import { shown } from '../card/shown.ts';
import type { Ride } from '../protocol.ts';
import { open } from '../state.ts';
import { amount, figure, place } from '../words.ts';
import { added, moved, type Point, removed, valueAt } from './points.ts';

/** Points while one is drawn. */
const drawing = signal<Point[] | null>(null);
/** Room above and below the line. */
const MARGIN = 14;
/** The least range that the height shows. */
const LEAST_RANGE = 6;

type Scale = { x: (time: number) => number; y: (value: number) => number; back: (x: number, y: number) => Point };

/** Between the strip's pixels and the ride's times and values. */
function scale(points: readonly Point[], seconds: number, width: number, height: number): Scale {
  const values = points.map(([, value]) => value);
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const more = Math.max(0, LEAST_RANGE - (high - low)) / 2;
  const [bottom, range] = [low - more, high - low + 2 * more];
  const rows = height - 2 * MARGIN;
  return {
    x: (time) => (time / seconds) * width,
    y: (value) => MARGIN + (1 - (value - bottom) / range) * rows,
    back: (x, y) => [(x / width) * seconds, bottom + (1 - (y - MARGIN) / rows) * range],
  };
}

const unitOf = (one: Ride): string => (open.value ? takesOf(open.value.card, one).unit : '');

type Shown = { seconds: number; width: number; height: number };

export function RideLine({ seconds, width, height }: Shown): JSX.Element | null {
  const one = shown.value;
  if (!one || one.points.length === 0) return null;
  const { x, y, back } = scale(one.points, seconds, width, height);
  const points = drawing.value ?? one.points;
  const line = points.map(([time, value]) => `L${x(time).toFixed(1)} ${y(value).toFixed(1)}`).join(' ');
  const [first, last] = [points[0] as Point, points.at(-1) as Point];
  const d = `M0 ${y(first[1])} ${line} L${width} ${y(last[1])}`;
  const name = one.what;
  const unit = unitOf(one);
  const owner = open.value?.name ?? '';
  const add = (event: PointerEvent): void => {
    event.stopPropagation();
    const box = (event.currentTarget as Element).closest('svg')?.getBoundingClientRect();
    if (!box || event.button !== 0) return;
    const [time] = back(event.clientX - box.left, 0);
    setPoints(one, added(one.points, [time, valueAt(one.points, time)]), `${name} of ${owner}: a point at ${place(time, 1)}`);
  };
  return (
    <svg class="ride" width="100%" height={height} aria-hidden="true">
      <path class="line" d={d} />
      <path class="reach" d={d} onPointerDown={add} />
      {points.map(([time, value], i) => (
        // oxlint-disable-next-line react/no-array-index-key -- a point is known by its order alone
        <g key={`${i}`} class="point" onPointerDown={(event) => draw(event, one, i, back)} onDblClick={() => take(one, i, owner)}>
          <circle class="reach" cx={x(time)} cy={y(value)} r="11" />
          <circle class="dot" cx={x(time)} cy={y(value)} r="4" />
          <text x={x(time)} y={y(value) - 8}>{`${figure(value, 1)}${i === 0 ? ` ${unit}` : ''}`}</text>
        </g>
      ))}
    </svg>
  );
}

function take(one: Ride, index: number, owner: string): void {
  const time = one.points[index]?.[0] ?? 0;
  if (one.points.length > 1) setPoints(one, removed(one.points, index), `${one.what} of ${owner}: no point at ${place(time, 1)}`);
}

function draw(event: PointerEvent, one: Ride, index: number, back: Scale['back']): void {
  event.stopPropagation();
  const box = (event.currentTarget as Element).closest('svg')?.getBoundingClientRect();
  if (!box || event.button !== 0) return;
  const shift = (move: PointerEvent): void => {
    drawing.value = moved(one.points, index, back(move.clientX - box.left, move.clientY - box.top));
  };
  const done = (): void => {
    removeEventListener('pointermove', shift);
    removeEventListener('pointerup', done);
    removeEventListener('pointercancel', done);
    const points = drawing.value;
    drawing.value = null;
    const to = points?.[index];
    if (points && to) setPoints(one, points, `${one.what} of ${open.value?.name ?? ''} at ${place(to[0], 1)} to ${amount(to[1], unitOf(one))}`);
  };
  addEventListener('pointermove', shift);
  addEventListener('pointerup', done);
  addEventListener('pointercancel', done);
}
