// The gain reduction of the last seconds, as a line that hangs from the top, and its figure.
import { useSignalEffect } from '@preact/signals';
import type { JSX } from 'preact';
import { useRef } from 'preact/hooks';
import { now } from '../state.ts';
import { pictures } from '../settings.ts';
import { steady } from '../words.ts';

/** Values kept: ten seconds at twenty a second. */
const KEPT = 200;
const WIDTH = 400;
const HEIGHT = 48;
/** Reduction at the bottom of the picture. */
const LOWEST_DB = 24;

/** The reduction of a processor now; nothing if it has none. */
function reductionOf(owner: string, index: number): number | null {
  return now.value?.reductions.find(([name, at]) => name === owner && at === index)?.[2] ?? null;
}

const y = (db: number): string => ((Math.min(LOWEST_DB, Math.max(0, db)) / LOWEST_DB) * HEIGHT).toFixed(1);

/** The line of a history, newest at the right; values are dB of reduction. */
export function reductionLine(history: readonly number[]): string {
  const x = (i: number): string => (((KEPT - history.length + i) / (KEPT - 1)) * WIDTH).toFixed(1);
  return history.map((db, i) => `${i === 0 ? 'M' : 'L'}${x(i)} ${y(db)}`).join(' ');
}

export function Reduction({ owner, index }: { owner: string; index: number }): JSX.Element | null {
  const history = useRef<number[]>([]);
  const path = useRef<SVGPathElement>(null);
  const words = useRef<HTMLSpanElement>(null);
  useSignalEffect(() => {
    const db = reductionOf(owner, index);
    if (db === null) return;
    if (now.value?.playing) history.current = [...history.current, Math.abs(db)].slice(-KEPT);
    path.current?.setAttribute('d', reductionLine(history.current));
    if (words.current) words.current.textContent = `${steady(Math.abs(db), 1)} dB`;
  });
  if (reductionOf(owner, index) === null) return null;
  return (
    <p class="reduction">
      It takes away <span ref={words} class="steady" /> now.
      {pictures.value && (
        <svg viewBox={`0 0 ${WIDTH} ${HEIGHT}`} preserveAspectRatio="none" aria-hidden="true">
          <path class="rule" d={`M0 ${HEIGHT / 4} H${WIDTH} M0 ${HEIGHT / 2} H${WIDTH}`} />
          <path class="line" ref={path} />
        </svg>
      )}
      {pictures.value && <span class="scale">the last 10 s; lines at 6 and 12 dB</span>}
    </p>
  );
}
