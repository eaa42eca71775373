// The listening sentence: what is heard, how loud, through what, and which passage. Its words are its controls.
import { computed } from '@preact/signals';
import type { JSX } from 'preact';
import { Choice } from '../../shared/sentence.tsx';
import { hear } from '../link.ts';
import { asking } from '../blind/state.ts';
import type { View } from '../protocol.ts';
import { playOrPause, seek } from '../sound/player.ts';
import { pictures } from '../settings.ts';
import { beat, heardAt, playing, view } from '../state.ts';
import { NumberWord } from '../card/number.tsx';
import { place, steady } from '../words.ts';
import { Heard } from './heard.tsx';
import { sectionAt, sectionOf, spanOf } from './passage.ts';
import { programmes } from './programmes.ts';
import { codecOf, ThroughWords } from './through.tsx';
import { Places } from './places.tsx';

/** Loops the section that is heard, or plays on. */
export function loop(on: boolean): void {
  const all = view.value;
  if (all) hear({ span_s: on ? spanOf(all, sectionAt(all, heardAt.value)) : null });
}

/** Goes to a section; a loop goes along. */
export function goToSection(index: number): void {
  const all = view.value;
  if (!all) return;
  if (all.hearing.span_s) hear({ span_s: spanOf(all, index) });
  seek(index < 0 ? 0 : (all.sections[index]?.from_s ?? 0));
}

export function ListeningSentence(): JSX.Element | null {
  const all = view.value;
  if (!all) return null;
  const { hearing } = all;
  const named = programmes(all).map((name, i) => ({ value: name, text: name, key: i + 1 }));
  return (
    <section class="listening sentence" aria-label="Listening" data-group="">
      <p>
        Hearing <Choice label="Programme" value={hearing.programme} choices={named} onChoose={(programme) => hear({ programme })} />, at{' '}
        <Choice
          label="Loudness"
          value={hearing.matched ? 'matched' : 'printed'}
          choices={[
            { value: 'matched', text: 'matched loudness' },
            { value: 'printed', text: 'the loudness it is printed at' },
          ]}
          onChoose={(value) => hear({ matched: value === 'matched' })}
        />
        <Matched />, through{' '}
        <ThroughWords all={all} label="Heard through" value={hearing.through} onChoose={(through) => hear({ through })} />
        <Plain all={all} />, from <Passage all={all} />,{' '}
        <Choice
          label="At the end of the passage"
          value={hearing.span_s ? 'loop' : 'on'}
          choices={[
            { value: 'loop', text: 'looping' },
            { value: 'on', text: 'playing on' },
          ]}
          onChoose={(value) => loop(value === 'loop')}
        />
        . The monitor is at <Monitor level={hearing.monitor_db} />
        {all.device && <>, heard on “{all.device}” of this machine</>}.{' '}
        <button type="button" class="word play" onClick={() => void playOrPause()}>
          {playing.value ? 'Pause' : 'Play'}
        </button>{' '}
        <button type="button" class="quiet" aria-expanded={asking.value} onClick={() => (asking.value = !asking.value)}>
          blind test
        </button>
      </p>
      {!pictures.value && <Places all={all} />}
      <Heard all={all} />
    </section>
  );
}

/** By how much matching turns down what is heard. */
function Matched(): JSX.Element | null {
  const by = steady(beat.value?.matched_db ?? 0, 1);
  if (!view.value?.hearing.matched) return null;
  return <span class="aside"> ({Number(by) === 0 ? 'as printed' : `${by} LU from as printed`})</span>;
}

/** What a codec makes of the song is made ahead of the ear, in stretches: until one is there, the plain sound is heard. */
function Plain({ all }: { all: View }): JSX.Element | null {
  if (codecOf(all.codecs, all.hearing.through) === null) return null;
  const isPlain = beat.value === null || beat.value.plain;
  return <span class="aside"> ({isPlain ? 'plain until it is encoded' : 'encoded and decoded, in step'})</span>;
}

const here = computed(() => (view.value ? sectionAt(view.value, heardAt.value) : -1));

function Passage({ all }: { all: View }): JSX.Element {
  const span = all.hearing.span_s;
  const own = span !== null && sectionOf(all, span) < 0 ? span : null;
  const current = own ? 'own' : String(span ? sectionOf(all, span) : here.value);
  const choices = [
    { value: '-1', text: 'the start' },
    ...all.sections.map((section, i) => ({ value: String(i), text: section.name })),
    ...(own ? [{ value: 'own', text: `${place(own[0], 1)} to ${place(own[1], 1)}` }] : []),
  ];
  return <Choice label="Passage" value={current} choices={choices} onChoose={(value) => value !== 'own' && goToSection(Number(value))} />;
}

const MONITOR = { kind: 'number', unit: 'dB', low: -60, high: 0, rest: -18, by_ratio: false } as const;

function Monitor({ level }: { level: number }): JSX.Element {
  return (
    <NumberWord
      label="Monitor level"
      about="How loud you listen. It reaches no print."
      takes={{ ...MONITOR, value: level }}
      onChange={(monitor_db) => hear({ monitor_db })}
    />
  );
}
