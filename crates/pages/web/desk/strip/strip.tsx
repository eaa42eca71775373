// The song strip: the loudness of every programme as hills one behind the other, sections as words beneath.
import { computed, signal, useSignalEffect } from '@preact/signals';
import type { JSX } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { sane, sectionAt, type Span } from '../hearing/passage.ts';
import { goToSection } from '../hearing/sentence.tsx';
import { hear } from '../link.ts';
import { Letters } from '../notes.tsx';
import type { View } from '../protocol.ts';
import { seek } from '../sound/player.ts';
import { heardAt, sounds, view } from '../state.ts';
import { place } from '../words.ts';
import { MarkText, Marks } from './marks.tsx';
import { RideLine } from './ride.tsx';
import { hill, hills, ridge } from './silhouette.ts';

export const HEIGHT = 92;
/** A press that moves less is a click. */
const SLACK_PX = 5;

const width = signal(1000);
/** A passage while it is drawn. */
const drawing = signal<Span | null>(null);

const size = ({ heights }: { heights: number[] }): number => heights.reduce((sum, height) => sum + height, 0);

const drawn = computed(() => {
  const all = sounds.value;
  if (!all) return [];
  const heights = all.programmes.map((sound) => ({ name: sound.name, heights: hills(sound.momentary_lufs) }));
  // The highest lie behind.
  return heights.toSorted((a, b) => size(b) - size(a));
});

export function SongStrip(): JSX.Element | null {
  return view.value && <Land all={view.value} />;
}

function Land({ all }: { all: View }): JSX.Element {
  const box = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const element = box.current;
    if (!element) return;
    const observer = new ResizeObserver(() => (width.value = element.clientWidth));
    observer.observe(element);
    return () => observer.disconnect();
  }, []);
  const seconds = all.song.length_s + all.song.tail_s;
  const x = (at: number): number => (at / seconds) * width.value;
  const span = drawing.value ?? all.hearing.span_s;
  return (
    <section class="strip" aria-label="Song">
      <Letters x={x} />
      <Marks x={x} />
      <div class="land" ref={box} onPointerDown={(event) => press(event, seconds, all.song.length_s)}>
        <svg width="100%" height={HEIGHT} aria-hidden="true">
          {span && <rect class="span" x={x(span[0])} y="0" width={x(span[1]) - x(span[0])} height={HEIGHT} />}
          <Hills seconds={seconds} heard={all.hearing.programme} />
          {all.sections.map((section) => (
            <path key={section.name} class="border" d={`M${x(section.from_s)} ${HEIGHT - 9} V${HEIGHT}`} />
          ))}
          {span && <path class="bounds" d={`M${x(span[0])} 0 V${HEIGHT} M${x(span[1])} 0 V${HEIGHT}`} />}
        </svg>
        <RideLine seconds={seconds} width={width.value} height={HEIGHT} />
        <Playhead seconds={seconds} all={all} />
      </div>
      <Sections all={all} x={x} />
      <MarkText />
    </section>
  );
}

function Hills({ seconds, heard }: { seconds: number; heard: string }): JSX.Element {
  const aSecond = sounds.value?.a_second ?? 10;
  return (
    <>
      {drawn.value.map(({ name, heights }) => (
        <g key={name} class={name === heard ? 'hill heard' : 'hill'}>
          <path class="ground" d={hill(heights, aSecond, seconds, width.value, HEIGHT)} />
          <path class="ridge" d={ridge(heights, aSecond, seconds, width.value, HEIGHT)} />
        </g>
      ))}
    </>
  );
}

/** A click goes there; a press that is drawn sideways sets the passage that loops. */
function press(event: PointerEvent, seconds: number, length: number): void {
  if (event.button !== 0) return;
  const box = (event.currentTarget as HTMLElement).getBoundingClientRect();
  const at = (x: number): number => Math.min(length, Math.max(0, ((x - box.left) / box.width) * seconds));
  const from = event.clientX;
  const moved = (move: PointerEvent): void => {
    if (drawing.value || Math.abs(move.clientX - from) > SLACK_PX) drawing.value = sane([at(from), at(move.clientX)], length);
  };
  const done = (): void => {
    removeEventListener('pointermove', moved);
    removeEventListener('pointerup', done);
    removeEventListener('pointercancel', done);
    const span = drawing.value;
    drawing.value = null;
    if (span) hear({ span_s: span });
    seek(span ? span[0] : at(from));
  };
  addEventListener('pointermove', moved);
  addEventListener('pointerup', done);
  addEventListener('pointercancel', done);
}

/** The place in whole seconds: what is said of it need not change any faster. */
const second = computed(() => Math.round(heardAt.value));

const STEP_S: Record<string, number> = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 };

function Playhead({ seconds, all }: { seconds: number; all: View }): JSX.Element {
  const head = useRef<HTMLDivElement>(null);
  const words = useRef<HTMLSpanElement>(null);
  useSignalEffect(() => {
    const at = heardAt.value;
    if (!head.current || !words.current) return;
    head.current.style.transform = `translateX(${(at / seconds) * width.value}px)`;
    words.current.textContent = place(at, 1);
  });
  const keys = (event: KeyboardEvent): void => {
    const here = sectionAt(all, heardAt.value);
    const step = STEP_S[event.key];
    if (step !== undefined) seek(Math.min(all.song.length_s, Math.max(0, heardAt.value + step * (event.shiftKey ? 0.1 : 1))));
    else if (event.key === 'PageDown') goToSection(Math.min(all.sections.length - 1, here + 1));
    else if (event.key === 'PageUp') goToSection(Math.max(-1, here - 1));
    else if (event.key === 'Home') seek(0);
    else return;
    event.preventDefault();
  };
  const at = second.value;
  const section = all.sections[sectionAt(all, at)]?.name;
  return (
    <div
      ref={head}
      class="playhead"
      role="slider"
      tabIndex={0}
      aria-label="Place in the song"
      aria-valuemin={0}
      aria-valuemax={Math.round(all.song.length_s)}
      aria-valuenow={at}
      aria-valuetext={section ? `${place(at)}, ${section}` : place(at)}
      onKeyDown={keys}
    >
      <span class="time" ref={words} />
    </div>
  );
}

function Sections({ all, x }: { all: View; x: (at: number) => number }): JSX.Element {
  return (
    <div class="sections">
      {all.sections.map((section, i) => (
        <button key={section.name} type="button" class="quiet" tabIndex={-1} style={{ left: `${x(section.from_s)}px` }} onClick={() => goToSection(i)}>
          {section.name}
        </button>
      ))}
    </div>
  );
}
