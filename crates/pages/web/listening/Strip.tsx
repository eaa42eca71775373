// The song's silhouette: loudness over time, sections as words beneath it, notes as letters above it. Press for a moment,
// draw for a span.
import type { JSX } from 'preact';
import { useRef } from 'preact/hooks';
import type { Shown } from './notes';
import { sectionAt, spanOf, type Song, type Version } from './song';
import type { Page } from './state';
import { clock, letter, moment } from './time';

/** A press that moves less than this, in pixels, is one moment. */
const STILL_PIXELS = 6;
const STEP_SECS = 5;
/** Letters nearer than this, in pixels, stand one above the other. */
const LETTER_PIXELS = 30;
/** Units of the drawing across and up; it is stretched to the page. */
const WIDE = 1000;
const HIGH = 100;

/** The row in which each letter stands, so that none covers another: the lowest whose last letter is `gap` away. */
export function rows(places: readonly number[], gap: number): number[] {
  const ends: number[] = [];
  return places.map((place) => {
    const free = ends.findIndex((end) => place - end >= gap);
    const row = free < 0 ? ends.length : free;
    ends[row] = place;
    return row;
  });
}

/** The outline of a version: a range of hills that stands on the line of sections. */
export function outline(silhouette: readonly number[]): string {
  const last = Math.max(1, silhouette.length - 1);
  const hills = silhouette.map((value, index) => {
    const [x, y] = [(index * WIDE) / last, HIGH - (value * HIGH) / 255];
    return `${x.toFixed(1)} ${y.toFixed(1)}`;
  });
  return `M0 ${HIGH}L${hills.join('L')}L${WIDE} ${HIGH}Z`;
}

export function Strip({ page }: { page: Page }): JSX.Element {
  const { song, player } = page;
  const field = useRef<HTMLDivElement>(null);
  const pressed = useRef<{ x: number; secs: number } | null>(null);
  const secsAt = (event: PointerEvent): number => {
    const box = field.current!.getBoundingClientRect();
    return Math.min(1, Math.max(0, (event.clientX - box.left) / box.width)) * song.secs;
  };
  const press = (event: JSX.TargetedPointerEvent<HTMLDivElement>): void => {
    if (event.button !== 0) return;
    event.currentTarget.setPointerCapture(event.pointerId);
    pressed.current = { x: event.clientX, secs: secsAt(event) };
  };
  const draw = (event: JSX.TargetedPointerEvent<HTMLDivElement>): void => {
    const from = pressed.current;
    if (!from || Math.abs(event.clientX - from.x) < STILL_PIXELS) return;
    const [a, b] = [from.secs, secsAt(event)].toSorted((x, y) => x - y) as [number, number];
    page.draft.value = { from: a, to: b, text: page.draft.value?.text ?? '' };
  };
  const release = (event: JSX.TargetedPointerEvent<HTMLDivElement>): void => {
    const from = pressed.current;
    pressed.current = null;
    if (!from) return;
    if (Math.abs(event.clientX - from.x) >= STILL_PIXELS) player.seek(page.draft.value?.from ?? from.secs);
    else {
      player.seek(from.secs);
      if (page.draft.value) page.draft.value = { ...page.draft.value, from: from.secs, to: null };
    }
  };
  const step = (event: JSX.TargetedKeyboardEvent<HTMLDivElement>): void => {
    const moves: Record<string, number> = { Home: -song.secs, End: song.secs, PageUp: 4 * STEP_SECS, PageDown: -4 * STEP_SECS };
    const move = moves[event.key];
    if (move === undefined) return;
    event.preventDefault();
    player.seek(player.at.value + move);
  };
  const section = sectionAt(song, player.at.value);
  return (
    <section class="strip" aria-label="The song">
      <Letters page={page} />
      <div
        ref={field}
        class="field"
        role="slider"
        tabIndex={0}
        aria-label="Place in the song"
        aria-valuemin={0}
        aria-valuemax={Math.floor(song.secs)}
        aria-valuenow={Math.floor(player.at.value)}
        aria-valuetext={`${clock(player.at.value)}${section ? `, ${section.name}` : ''}`}
        onPointerDown={press}
        onPointerMove={draw}
        onPointerUp={release}
        onPointerCancel={() => {
          pressed.current = null;
        }}
        onKeyDown={step}
      >
        <Silhouettes song={song} heard={player.heard.value} />
        <Spans page={page} />
        <span class="hand" style={{ left: `${(100 * player.at.value) / song.secs}%` }} />
      </div>
      <Sections page={page} />
    </section>
  );
}

function Silhouettes({ song, heard }: { song: Song; heard: number }): JSX.Element {
  const role = (version: Version): string => (version.sha256 === null ? 'source' : 'print');
  return (
    <svg viewBox={`0 0 ${WIDE} ${HIGH}`} preserveAspectRatio="none" aria-hidden="true" focusable="false">
      {song.versions.map(
        (version, index) =>
          index !== heard && <path key={version.name} class={`other ${role(version)}`} d={outline(version.silhouette)} />,
      )}
      <path class={`heard ${role(song.versions[heard]!)}`} d={outline(song.versions[heard]!.silhouette)} />
    </svg>
  );
}

const across = (song: Song, from: number, to: number): { left: string; width: string } => ({
  left: `${(100 * from) / song.secs}%`,
  width: `${(100 * Math.max(0, to - from)) / song.secs}%`,
});

/** The span that is being written about, and that of a chosen note. */
function Spans({ page }: { page: Page }): JSX.Element {
  const { song, draft, chosen, notes } = page;
  const note = notes.value.find((candidate) => candidate.id === chosen.value);
  return (
    <>
      {draft.value && <span class="span draft" style={across(song, draft.value.from, draft.value.to ?? draft.value.from)} />}
      {note && note.at !== null && <span class="span" style={across(song, note.at, note.to ?? note.at)} />}
    </>
  );
}

function Letters({ page }: { page: Page }): JSX.Element {
  const { song, player, chosen, notes } = page;
  const choose = (note: Shown): void => {
    chosen.value = note.id;
    if (note.at !== null) player.seek(note.at);
  };
  const placed = notes.value.filter((note) => note.at !== null);
  const row = rows(
    placed.map((note) => note.at! / song.secs),
    LETTER_PIXELS / Math.min(window.innerWidth, WIDE),
  );
  return (
    <div class="letters" style={{ '--rows': Math.max(1, ...row.map((at) => at + 1)) }}>
      {placed.map((note, index) => (
        <button
          key={note.id}
          type="button"
          class="letter"
          aria-pressed={chosen.value === note.id}
          aria-label={`Note ${letter(index)}, ${moment(note.at!, note.to)}`}
          style={{ left: `${(100 * note.at!) / song.secs}%`, '--row': row[index] }}
          onClick={() => choose(note)}
        >
          {letter(index)}
        </button>
      ))}
    </div>
  );
}

/** Sections as words on a line: press one to go there. */
function Sections({ page }: { page: Page }): JSX.Element {
  const { song, player } = page;
  const here = sectionAt(song, player.at.value);
  return (
    <div class="sections">
      {song.sections.map((section, index) => (
        <button
          key={`${section.name}-${section.at_secs}`}
          type="button"
          class="section"
          aria-current={here === section ? 'true' : undefined}
          style={across(song, ...spanOf(song, index))}
          onClick={() => player.seek(section.at_secs)}
        >
          {section.name}
        </button>
      ))}
    </div>
  );
}
