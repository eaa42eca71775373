// A blind test of two sounds: the question, its rounds, and what came of it.
import { useState } from 'preact/hooks';
import type { JSX } from 'preact';
import { Choice } from '../../shared/sentence.tsx';
import { NumberWord } from '../card/number.tsx';
import { heardInWords } from '../hearing/heard.tsx';
import { programmes } from '../hearing/programmes.ts';
import { ThroughWords } from '../hearing/through.tsx';
import type { Blind, BlindBefore, Compared, Unknown, View } from '../protocol.ts';
import { playOrPause } from '../sound/player.ts';
import { blind, heldBefore, playing, view } from '../state.ts';
import { place } from '../words.ts';
import { differ, isPartial, LONGEST_S, proposed } from './propose.ts';
import { answer, asking, begin, hearUnknown, last, leave } from './state.ts';

/** Rounds that are proposed. */
const ROUNDS = 16;
const TAKES = { kind: 'number', unit: '', low: 5, high: 100, rest: ROUNDS, by_ratio: false } as const;

/** The question that a blind test answers: what is to be told from what, and in how many rounds. */
export function BlindQuestion(): JSX.Element | null {
  const all = view.value;
  return all && asking.value && !blind.value ? <Question all={all} /> : null;
}

function Question({ all }: { all: View }): JSX.Element {
  const [sides, setSides] = useState(() => proposed(all, programmes(all)));
  const [rounds, setRounds] = useState(ROUNDS);
  const [a, b] = sides;
  return (
    <section class="blind sentence" aria-label="Blind test" data-group="">
      <p>
        Can you tell <Sound all={all} label="A" side={a} onChange={(next) => setSides([next, b])} /> from{' '}
        <Sound all={all} label="B" side={b} onChange={(next) => setSides([a, next])} /> over {passage(all)}, in{' '}
        <NumberWord label="Rounds" about="How often you are asked. It is settled before the first round." takes={{ ...TAKES, value: rounds }} onChange={(next) => setRounds(Math.round(next))} />{' '}
        rounds?{' '}
        <button type="button" class="word" disabled={!differ(sides)} onClick={() => begin(sides, rounds)}>
          Begin
        </button>{' '}
        or{' '}
        <button type="button" class="word" onClick={() => (asking.value = false)}>
          not now
        </button>
      </p>
      {!differ(sides) && <p class="aside">Both are the same: choose two that differ.</p>}
      <Before tests={heldBefore.value} />
    </section>
  );
}

function passage(all: View): string {
  const span = all.hearing.span_s;
  if (!span) return `${LONGEST_S} s from here`;
  return `${place(span[0], 1)} to ${place(Math.min(span[1], span[0] + LONGEST_S), 1)}`;
}

type Shown = { all: View; label: string; side: Compared; onChange: (side: Compared) => void };

function Sound({ all, label, side, onChange }: Shown): JSX.Element {
  const names = programmes(all).map((name) => ({ value: name, text: name }));
  const parts = [
    { value: 'all', text: 'with everything' },
    { value: 'ear', text: heardInWords(all) ?? 'as it is heard now' },
  ];
  return (
    <>
      <Choice label={`${label}: programme`} value={side.programme} choices={names} onChoose={(programme) => onChange({ ...side, programme })} />
      {isPartial(all) && (
        <>
          {', '}
          <Choice label={`${label}: part`} value={side.all ? 'all' : 'ear'} choices={parts} onChoose={(part) => onChange({ ...side, all: part === 'all' })} />
          {','}
        </>
      )}{' '}
      through{' '}
      <ThroughWords all={all} label={`${label}: heard through`} value={side.through} onChoose={(through) => onChange({ ...side, through })} />
    </>
  );
}

/** The test that goes on, in the place of the listening sentence. */
export function BlindTest({ test }: { test: Blind }): JSX.Element {
  if (!test.ready) {
    return (
      <Frame test={test}>
        <p role="status">Both are being rendered, and made equally loud …</p>
        <p>
          <Leave words="Leave it" />
        </p>
      </Frame>
    );
  }
  if (test.outcome !== null) return <Outcome test={test} outcome={test.outcome} />;
  return (
    <Frame test={test}>
      <p class="three">
        <Listen what="a" test={test} />
        <Listen what="b" test={test} />
        <Listen what="x" test={test} />
      </p>
      <p>
        <span role="status">
          Round <b>{test.answered + 1}</b> of {test.rounds}:
        </span>{' '}
        X is{' '}
        <button type="button" class="word" onClick={() => answer(true)}>
          A
        </button>{' '}
        or{' '}
        <button type="button" class="word" onClick={() => answer(false)}>
          B
        </button>
        .{' '}
        <button type="button" class="word play" onClick={() => void playOrPause()}>
          {playing.value ? 'Pause' : 'Play'}
        </button>
      </p>
      <p class="aside">
        Meters rest, and the result comes after the last round: a test that ends when it looks good proves nothing. Keys: a, b and x to listen,
        Shift+A and Shift+B to answer. <Leave words="leave the test" />
      </p>
    </Frame>
  );
}

function Frame({ test, children }: { test: Blind; children: JSX.Element['props']['children'] }): JSX.Element {
  const [from, to] = test.passage_s;
  return (
    <section class="blind sentence" aria-label="Blind test" data-group="">
      <p>
        A is <b>{test.sides[0]}</b>; B is <b>{test.sides[1]}</b>; X is one of the two, by lot in each round. You hear {place(from, 1)} to{' '}
        {place(to, 1)}, both equally loud.
      </p>
      {children}
    </section>
  );
}

function Listen({ what, test }: { what: Unknown; test: Blind }): JSX.Element {
  return (
    <button type="button" class="word" aria-pressed={test.hears === what} aria-label={`Listen to ${what.toUpperCase()}`} onClick={() => hearUnknown(what)}>
      {what.toUpperCase()}
    </button>
  );
}

function Leave({ words }: { words: string }): JSX.Element {
  return (
    <button type="button" class="quiet" onClick={leave}>
      {words}
    </button>
  );
}

function Outcome({ test, outcome }: { test: Blind; outcome: string }): JSX.Element {
  const again = last.value;
  return (
    <Frame test={test}>
      <p role="status">
        <b>{outcome}</b>
      </p>
      <p>
        <button type="button" class="word" onClick={leave}>
          Back to the song
        </button>
        {again && (
          <>
            {', or '}
            <button
              type="button"
              class="word"
              onClick={() => {
                leave();
                begin(again.sides, again.rounds);
              }}
            >
              the same once more
            </button>
          </>
        )}
        .
      </p>
      <Before tests={heldBefore.value} />
    </Frame>
  );
}

/** What earlier tests have found. They lie beside the sheet. */
function Before({ tests }: { tests: readonly BlindBefore[] }): JSX.Element | null {
  if (tests.length === 0) return null;
  return (
    <details>
      <summary>Blind tests of this song: {tests.length}</summary>
      <ol>
        {tests.map((test) => (
          <li key={test.written + test.sides.join()}>
            <b>{test.sides[0]}</b> and <b>{test.sides[1]}</b>, {test.written.slice(0, 10)}: {test.outcome}
          </li>
        ))}
      </ol>
    </details>
  );
}
