// Meters of what is heard: bars with figures, a mark that holds the peak, and a sentence.
import { signal, useSignalEffect } from '@preact/signals';
import type { JSX } from 'preact';
import { useRef } from 'preact/hooks';
import type { Meters as Readings } from '../protocol.ts';
import { pictures } from '../settings.ts';
import { beat, blind, dry, now, open, view } from '../state.ts';
import { figure, loudness, steady } from '../words.ts';
import { Octaves } from './octaves.tsx';
import { filled, MARKS, spoken } from './readings.ts';

/** What is spoken next; empty most of the time. */
export const said = signal('');
let turn = 0;

/** Says all readings once, for those who hear the page. */
export function sayReadings(): void {
  const state = now.value;
  if (!state) return;
  const name = open.value?.name ?? '';
  const index = view.value?.nodes.findIndex((node) => node.name === name) ?? -1;
  const level = state.nodes[index];
  // The same words twice in a row would not be spoken again.
  turn += 1;
  said.value = spoken(state.heard, level ? { name, momentary: level[0] } : null) + (turn % 2 === 0 ? '' : ' ');
}

export function Meters(): JSX.Element {
  const { heard, late = 0 } = beat.value ?? {};
  return (
    <section class="meters" aria-label="Meters">
      <dl>
        <Level name="momentary" of={(all) => all.momentary_lufs} unit="LUFS" />
        <Level name="short-term" of={(all) => all.short_term_lufs} unit="LUFS" />
        <Level name="true peak" of={(all) => all.true_peak_dbtp} unit="dBTP" mark />
      </dl>
      <Scale marks={MARKS} />
      <dl>
        <Correlation />
      </dl>
      <Scale marks={CORRELATIONS} />
      <Octaves />
      <p>
        {blind.value ? 'Meters rest during a blind test.' : heard ? since(heard) : 'Nothing was heard yet.'}
        {dry.value > 0 && ` It ran dry ${times(dry.value)}.`}
        {late > 0 && ` It waited ${times(late)} for recordings that came late from the disk.`}
      </p>
      <div class="unseen" aria-live="polite">
        {said.value}
      </div>
    </section>
  );
}

/** The correlations that are written beneath its bar. */
const CORRELATIONS = [-1, 0, 1].map((level) => ({ level, at: (level + 1) / 2 }));

function Scale({ marks }: { marks: readonly { level: number; at: number }[] }): JSX.Element | null {
  if (!pictures.value) return null;
  return (
    <div class="scale" aria-hidden="true">
      {marks.map(({ level, at }) => (
        <span key={level} style={{ left: `${at * 100}%` }}>
          {figure(level, 0)}
        </span>
      ))}
    </div>
  );
}

const times = (count: number): string => (count === 1 ? 'once' : `${count} times`);

function since(heard: Readings): string {
  if (heard.integrated_lufs === null) return 'Nothing was heard yet.';
  const range = heard.loudness_range_lu === null ? '' : `, range ${steady(heard.loudness_range_lu, 1)} LU`;
  const psr = heard.psr_db === null ? '' : `, PSR ${steady(heard.psr_db, 1)} dB`;
  return `${loudness(heard.integrated_lufs)} since it started${range}${psr}.`;
}

type Shown = { name: string; of: (all: Readings) => number | null; unit: string; mark?: boolean };

function Level({ name, of, unit, mark = false }: Shown): JSX.Element {
  const bar = useRef<HTMLElement>(null);
  useSignalEffect(() => {
    const part = filled(now.value ? of(now.value.heard) : null);
    if (bar.current) bar.current.style.transform = mark ? `translateX(${part * 100}%)` : `scaleX(${part})`;
  });
  const value = beat.value ? of(beat.value.heard) : null;
  return (
    <div class="row">
      <dt>{name}</dt>
      {pictures.value && (
        <dd class={mark ? 'bar mark' : 'bar'} aria-hidden="true">
          <i ref={bar} />
        </dd>
      )}
      <dd class="steady">{value === null ? '—' : `${steady(value, 1)} ${unit}`}</dd>
    </div>
  );
}

function Correlation(): JSX.Element {
  const mark = useRef<HTMLElement>(null);
  useSignalEffect(() => {
    const value = now.value?.heard.correlation ?? 0;
    if (mark.current) mark.current.style.transform = `translateX(${(value + 1) * 50}%)`;
  });
  const heard = beat.value?.heard;
  return (
    <div class="row">
      <dt>correlation</dt>
      {pictures.value && (
        <dd class="bar mark centre" aria-hidden="true">
          <i ref={mark} />
        </dd>
      )}
      <dd class="steady">
        {heard?.correlation === null || heard === undefined ? '—' : steady(heard.correlation, 2)}
      </dd>
    </div>
  );
}
