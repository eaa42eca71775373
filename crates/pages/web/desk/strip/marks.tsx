// Findings that are about a place in the song, as numbers above the hills. The list of findings says all that they say.
import { computed, signal } from '@preact/signals';
import type { JSX } from 'preact';
import { FindingText } from '../findings.tsx';
import type { Finding } from '../protocol.ts';
import { seek } from '../sound/player.ts';
import { view } from '../state.ts';

type Mark = { number: number; at: number; finding: Finding };

/** Findings with a place, each with its number in the list. */
export function marks(findings: readonly Finding[]): Mark[] {
  return findings.flatMap((finding, i) => (finding.at_s === null ? [] : [{ number: i + 1, at: finding.at_s, finding }]));
}

/** Room for a number above the song. */
const MARK_PX = 16;

/** Places that are no nearer to each other than `least`: what would lie over another steps to the right. */
export function apart(places: readonly number[], least: number): number[] {
  const found = [...places];
  let free = Number.NEGATIVE_INFINITY;
  const ordered = places.map((place, index) => [place, index] as const).toSorted(([a], [b]) => a - b);
  for (const [at, i] of ordered) {
    found[i] = Math.max(at, free);
    free = (found[i] ?? at) + least;
  }
  return found;
}

/** The mark that was chosen. */
const chosenMark = signal<number | null>(null);
const all = computed(() => marks(view.value?.findings ?? []));

export function Marks({ x }: { x: (at: number) => number }): JSX.Element | null {
  if (all.value.length === 0) return null;
  const choose = ({ number, at }: Mark): void => {
    chosenMark.value = chosenMark.value === number ? null : number;
    seek(at);
  };
  const places = apart(all.value.map((mark) => x(mark.at)), MARK_PX);
  return (
    <div class="letters marks">
      {all.value.map((mark, i) => (
        <button key={mark.number} type="button" class={`quiet ${mark.finding.severity}`} tabIndex={-1} aria-pressed={chosenMark.value === mark.number} title={mark.finding.message} style={{ left: `${places[i] ?? 0}px` }} onClick={() => choose(mark)}>
          {mark.number}
        </button>
      ))}
    </div>
  );
}

/** What the chosen mark says, beneath the song. */
export function MarkText(): JSX.Element | null {
  const mark = all.value.find(({ number }) => number === chosenMark.value);
  return mark ? (
    <p class="marked" role="status">
      <b>{mark.number}</b>: <FindingText finding={mark.finding} />
    </p>
  ) : null;
}
