// Moves the banks of the ribbons: a calm line that follows the loudness, drawn only while something moves.
import type { ReadonlySignal } from '@preact/signals';
import type { Course, Layout } from './layout.ts';
import { levelOf, type Levels } from './levels.ts';
import { area, type Ends, line, mouths, part } from './ribbon.ts';
import type { State } from './silence.ts';

/** Time in which a bank goes two thirds of its way. */
const CALM_MS = 140;
/** Banks are drawn some thirty times a second: calm needs no more, and the machine is needed for the sound. */
const LEAST_MS = 30;
/** Who wants little motion sees the ribbons change this seldom. */
const STILL_MS = 1000;
/** A bed without water still shows where it runs. */
const BED_PX = 1.5;
/** A ribbon by choice without sound, or broken, is drawn this thick where nothing is known of it. */
const OUTLINE_PX = 9;

/** Lines of the current: the middle, and one on either side where there is room. */
const LINES = [0, -0.5, 0.5];
const THREE_LINES_PX = 9;

type Drawn = { course: Course; body: Element; edge: Element; lines: Element[] };
type Width = { short: number; momentary: number };

export type Source = {
  layout: ReadonlySignal<Layout | null>;
  levels: ReadonlySignal<Levels>;
  states: ReadonlySignal<ReadonlyMap<string, State>>;
};

/** Keeps the ribbons of a drawing moving until the returned function is called. */
export function move(svg: SVGSVGElement, source: Source): () => void {
  const still = matchMedia('(prefers-reduced-motion: reduce)');
  const widths = new Map<string, Width>();
  let drawn: Drawn[] | null = null;
  let frame = 0;
  let last = 0;

  const step = (time: number): void => {
    if (time - last < LEAST_MS) {
      frame = requestAnimationFrame(step);
      return;
    }
    const eased = still.matches ? 1 : 1 - Math.exp(-Math.min(100, time - last) / CALM_MS);
    last = time;
    const moved = follow(widths, source, eased);
    drawn ??= elements(svg, source.layout.value);
    draw(drawn, widths, source);
    frame = moved ? requestAnimationFrame(step) : 0;
  };
  const wake = (): void => {
    if (frame !== 0 || (still.matches && performance.now() - last < STILL_MS && drawn)) return;
    if (!still.matches) last = performance.now() - LEAST_MS;
    frame = requestAnimationFrame(step);
  };
  // Another layout draws other paths; they are there by the next frame.
  const stopLayout = source.layout.subscribe(() => {
    drawn = null;
    wake();
  });
  const stopLevels = source.levels.subscribe(wake);
  const stopStates = source.states.subscribe(wake);
  return () => {
    stopLayout();
    stopLevels();
    stopStates();
    cancelAnimationFrame(frame);
  };
}

function elements(svg: SVGSVGElement, layout: Layout | null): Drawn[] {
  const groups = new Map([...svg.querySelectorAll('[data-way]')].map((group) => [group.getAttribute('data-way'), group]));
  return (layout?.courses ?? []).flatMap((course) => {
    const group = groups.get(`${course.from}→${course.to}`);
    const [body, edge] = [group?.querySelector('.body'), group?.querySelector('.edge')];
    return group && body && edge ? [{ course, body, edge, lines: [...group.querySelectorAll('.current')] }] : [];
  });
}

/** Brings all widths nearer to where they should be; says whether one still moves. */
function follow(widths: Map<string, Width>, source: Source, eased: number): boolean {
  const layout = source.layout.value;
  let moves = false;
  for (const spot of layout?.spots ?? []) {
    const aim = aimed(spot, layout as Layout, source);
    const width = widths.get(spot.id) ?? { short: 0, momentary: 0 };
    for (const key of ['short', 'momentary'] as const) {
      const rest = aim[key] - width[key];
      width[key] = Math.abs(rest) < 0.05 ? aim[key] : width[key] + rest * eased;
      moves ||= width[key] !== aim[key];
    }
    widths.set(spot.id, width);
  }
  return moves;
}

function aimed(spot: Layout['spots'][number], layout: Layout, source: Source): Width {
  const state = source.states.value.get(spot.id)?.kind ?? 'flows';
  if (state === 'outlined' || state === 'broken') return { short: OUTLINE_PX, momentary: 0 };
  const level = levelOf(spot, source.levels.value);
  const short = Math.max(BED_PX, part(level.short_term) * layout.full);
  return { short, momentary: Math.max(short, part(level.momentary) * layout.full) };
}

function draw(drawn: readonly Drawn[], widths: ReadonlyMap<string, Width>, source: Source): void {
  const full = source.layout.value?.full ?? 0;
  const starts = new Map(drawn.map(({ course }) => [course, startOf(course, widths, full)]));
  const into = grouped(drawn);
  for (const [to, all] of into) {
    const sorted = all.toSorted((a, b) => a.course.y0 - b.course.y0);
    const whole = widths.get(to)?.short ?? 0;
    const shares = mouths(whole, sorted.map(({ course }) => starts.get(course)?.short ?? 0));
    sorted.forEach((each, i) => {
      const start = starts.get(each.course) ?? { short: 0, momentary: 0 };
      shape(each, start, shares[i] ?? { mouth: 0, shift: 0 });
    });
  }
}

function grouped(drawn: readonly Drawn[]): Map<string, Drawn[]> {
  const found = new Map<string, Drawn[]>();
  for (const each of drawn) found.set(each.course.to, [...(found.get(each.course.to) ?? []), each]);
  return found;
}

/** Thickness where a ribbon leaves: of a send, that of its copy. */
function startOf(course: Course, widths: ReadonlyMap<string, Width>, full: number): Width {
  const from = widths.get(course.from) ?? { short: 0, momentary: 0 };
  if (course.kind !== 'send') return from;
  const less = (width: number): number => Math.max(BED_PX, width + (course.level_db / 50) * full);
  return { short: less(from.short), momentary: less(from.momentary) };
}

function shape(each: Drawn, start: Width, end: Pick<Ends, 'mouth' | 'shift'>): void {
  const ends = { start: start.short, ...end };
  const wide = start.short > 0 ? start.momentary / start.short : 1;
  each.body.setAttribute('d', area(each.course, ends));
  each.edge.setAttribute('d', area(each.course, { start: start.momentary, mouth: end.mouth * Math.min(wide, 1.6), shift: end.shift }));
  const roomy = start.short >= THREE_LINES_PX;
  each.lines.forEach((path, i) => path.setAttribute('d', i === 0 || roomy ? line(each.course, ends, LINES[i] ?? 0) : ''));
}
