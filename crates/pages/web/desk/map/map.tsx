// The flow map: ribbons from stems through buses to prints, and names on paper.
import { computed, useSignalEffect } from '@preact/signals';
import type { JSX } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { chosen, open, view } from '../state.ts';
import { marksOf } from '../findings.tsx';
import type { Course, Layout, Spot } from './layout.ts';
import { bundle, drawnLayout, drawnLevels, drawnStates, frame } from './model.ts';
import { move } from './motion.ts';
import { bundleOf, groups } from './network.ts';
import { Scale } from './scale.tsx';
import { ordered, walk } from './walk.ts';
import { RewireLine, startRewiring } from './rewire.tsx';

/** The map is never narrower than this many lines of text, which fit a small laptop at 200%; a narrower page moves it sideways. */
const LEAST_LINES = 31;

/** Measures the room that the map has: the width of its paper, and a share of the window's height. */
function measure(paper: HTMLElement): void {
  const rem = Number.parseFloat(getComputedStyle(document.documentElement).fontSize);
  const line = rem * 1.12;
  const width = Math.max(paper.clientWidth, LEAST_LINES * line);
  const height = Math.max(27 * line, Math.min(innerHeight * 0.6, 40 * line));
  frame.value = { width, height, left: names(line), right: 8.5 * line, line };
}

/** Room for the longest name of a stem or bundle. */
function names(line: number): number {
  const all = view.peek();
  const stems = all?.nodes.filter((node) => node.role === 'source').map((node) => node.name) ?? [];
  const bundles = [...groups(all ?? { nodes: [], prints: [] })].map(([bus, members]) => bundleTitle(bus, members.length));
  const longest = Math.max(8, ...[...stems, ...bundles].map((name) => name.length));
  return Math.min(14, longest * 0.4 + 1.2) * line;
}

export function FlowMap(): JSX.Element {
  const paper = useRef<HTMLDivElement>(null);
  const svg = useRef<SVGSVGElement>(null);
  useEffect(() => {
    const element = paper.current as HTMLDivElement;
    const observer = new ResizeObserver(() => measure(element));
    observer.observe(element);
    return () => observer.disconnect();
  }, []);
  useEffect(() => move(svg.current as SVGSVGElement, { layout: drawnLayout, levels: drawnLevels, states: drawnStates }), []);
  const layout = drawnLayout.value;
  return (
    <section class="map" aria-label="Flow map" ref={paper}>
      <div class="sheet" style={{ width: `${frame.value?.width ?? 0}px`, height: `${layout?.height ?? 300}px` }}>
        <svg ref={svg} aria-hidden="true" width="100%" height="100%">
          <Hatching />
          {layout && <Rule layout={layout} />}
          {layout && paintOrder(layout).map((course) => <Ribbon key={`${course.from}→${course.to}`} course={course} layout={layout} />)}
        </svg>
        {layout && <Names layout={layout} />}
        {layout && <Scale full={layout.full} />}
        <RewireLine />
      </div>
    </section>
  );
}

function Hatching(): JSX.Element {
  return (
    <defs>
      <pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
        <path d="M0 0 V5" class="hatch" />
      </pattern>
    </defs>
  );
}

/** A thin rule from the chosen name down to its card. */
function Rule({ layout }: { layout: Layout }): JSX.Element | null {
  const spot = layout.spots.find((each) => each.id === atFocus.value);
  if (!spot) return null;
  const x = spot.x - (spot.role === 'print' ? -6 : 4);
  return <path class="to-card" d={`M${x} ${spot.y + 10} V${layout.height - 1} H0`} />;
}

const ORDER = { send: 0, draw: 1, way: 2 };

/** Copies lie under the main ways. */
function paintOrder(layout: Layout): Course[] {
  return layout.courses.toSorted((a, b) => ORDER[a.kind] - ORDER[b.kind]);
}

function Ribbon({ course, layout }: { course: Course; layout: Layout }): JSX.Element {
  const from = layout.spots.find((spot) => spot.id === course.from);
  const role = course.kind === 'draw' ? 'print' : course.kind === 'send' || from?.role === 'return' ? 'return' : 'source';
  const state = drawnStates.value.get(course.from)?.kind ?? 'flows';
  const near = open.value !== null && (course.from === open.value.name || course.to === open.value.name);
  return (
    <g class={`ribbon ${role} ${course.kind} ${state} ${near ? 'near' : ''}`} data-way={`${course.from}→${course.to}`}>
      <path class="edge" />
      <path class="body" />
      <path class="current" />
      <path class="current" />
      <path class="current" />
    </g>
  );
}

const atFocus = computed(() => {
  const layout = drawnLayout.value;
  if (!layout) return null;
  const name = open.value?.name ?? '';
  const spot = layout.spots.find((each) => each.id === name || each.members.includes(name));
  return (spot ?? ordered(layout)[0])?.id ?? null;
});

function Names({ layout }: { layout: Layout }): JSX.Element {
  const list = useRef<HTMLDivElement>(null);
  useSignalEffect(() => {
    const id = atFocus.value;
    const box = list.current;
    if (id !== null && box?.contains(document.activeElement)) box.querySelector<HTMLElement>(`[data-id="${CSS.escape(id)}"]`)?.focus();
  });
  const onKeyDown = (event: KeyboardEvent): void => {
    if (event.ctrlKey || event.metaKey || event.altKey || !atFocus.value) return;
    if (event.key === 'Enter') {
      event.preventDefault();
      pick(layout, atFocus.value, true);
      return;
    }
    const next = walk(layout, atFocus.value, event.key);
    if (next === null) return;
    event.preventDefault();
    pick(layout, next, false);
  };
  return (
    <div class="names" role="listbox" aria-label="Flow map: arrows go along the flow, Enter opens the card" ref={list} onKeyDown={onKeyDown} tabIndex={-1}>
      {ordered(layout).map((spot) => (
        <Name key={spot.id} spot={spot} layout={layout} />
      ))}
    </div>
  );
}

/** Chooses a place; a bundle is opened when it is entered. */
function pick(layout: Layout, id: string, enter: boolean): void {
  const spot = layout.spots.find((each) => each.id === id);
  if (!spot) return;
  const bus = layout.courses.find((course) => course.from === id)?.to ?? '';
  const [first] = spot.members;
  if (first !== undefined) {
    chosen.value = first;
    if (enter) bundle(bus);
    return;
  }
  chosen.value = id;
  if (enter) document.querySelector<HTMLElement>('.card .word')?.focus();
}

/** What a place is called on the map. */
function title(spot: Spot): string {
  return spot.members.length > 0 ? `${spot.members.length} ${spot.id}` : spot.id;
}

const bundleTitle = (bus: string, count: number): string => `${count} ${bundleOf(bus)}`;

const KINDS = { source: 'stem', bus: 'bus', return: 'return', print: 'print' };

function Name({ spot, layout }: { spot: Spot; layout: Layout }): JSX.Element {
  const state = spot.members.length > 0 ? undefined : drawnStates.value.get(spot.id);
  const on = atFocus.value === spot.id;
  const next = layout.courses.find((course) => course.from === spot.id && course.kind === 'way');
  const why = state?.why ?? '';
  const marks = marksOf(spot.id);
  const label = [title(spot), KINDS[spot.role], next && `goes to ${next.to}`, why, marks.length > 0 && `finding ${marks.join(', ')}`];
  const up = layout.full / 2;
  return (
    <button
      type="button"
      role="option"
      class={`name ${spot.role} ${state?.kind ?? 'flows'}`}
      aria-selected={on}
      aria-label={label.filter(Boolean).join(', ')}
      tabIndex={on ? 0 : -1}
      data-id={spot.id}
      data-node={spot.members.length > 0 || spot.role === 'print' ? undefined : spot.id}
      style={{ left: `${spot.x}px`, top: `${spot.y + (spot.role === 'bus' || spot.role === 'return' ? -up : 0)}px` }}
      onClick={() => pick(layout, spot.id, spot.members.length > 0)}
      onPointerDown={(event) => startRewiring(event, spot)}
    >
      <span class="text" data-marks={marks.join(' ')}>
        {title(spot)}
      </span>
      {why !== '' && <span class="why" data-why={why} />}
    </button>
  );
}
