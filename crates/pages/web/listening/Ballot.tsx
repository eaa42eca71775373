// The blind ballot as a page of its own: while it is held, no version is named anywhere on the page.
import { useSignal } from '@preact/signals';
import type { JSX } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { Amount, Choice } from '../shared/sentence';
import { sentences, shuffled, type Loudness } from './ballot';
import { newId, now, type Round } from './notes';
import { sectionAt, spanOf } from './song';
import type { Page } from './state';
import { letter } from './time';

/** Versions that one can keep apart by ear. */
const MOST_VERSIONS = 3;
const ROUNDS = [5, 8, 12] as const;
const MOST_TRIM_DB = 6;

type Stage = 'ask' | 'trim' | 'matched' | 'delivered' | 'done';

export function Ballot({ page }: { page: Page }): JSX.Element {
  const { song, player } = page;
  const stage = useSignal<Stage>('ask');
  const section = useSignal(Math.max(0, song.sections.indexOf(sectionAt(song, player.at.value)!)));
  const many = useSignal<number>(ROUNDS[1]);
  const both = useSignal(true);
  /** Versions of the ballot, by index; the order in which they stand now; and the rounds that were held. */
  const entered = useSignal(song.versions.slice(0, MOST_VERSIONS).map((_version, index) => index));
  const order = useSignal<number[]>([]);
  const rounds = useSignal<Round[]>([]);

  const before = useRef(player.heard.value);

  const leave = (): void => {
    player.heard.value = before.current;
    player.loudness.value = 'matched';
    player.trims.value = [];
    player.setLoop(null);
    page.ballot.value = false;
  };
  useEffect(() => () => player.setLoop(null), [player]);

  const name = (index: number): string => song.versions[index]!.name;
  const draw = (): void => {
    order.value = shuffled(entered.value.length).map((place) => entered.value[place]!);
    player.heard.value = order.value[0]!;
  };
  const begin = (): void => {
    player.loudness.value = 'matched';
    player.trims.value = song.versions.map(() => 0);
    player.setLoop(spanOf(song, section.value));
    draw();
    stage.value = 'trim';
    void player.play();
  };
  const vote = (version: number): void => {
    const loudness: Loudness = stage.value === 'delivered' ? 'delivered' : 'matched';
    rounds.value = [...rounds.value, { loudness, order: order.value.map(name), chose: name(version) }];
    const held = rounds.value.filter((round) => round.loudness === loudness).length;
    draw();
    if (held < many.value) return;
    if (loudness === 'matched' && both.value) {
      stage.value = 'delivered';
      player.loudness.value = 'delivered';
    } else finish();
  };
  const finish = (): void => {
    player.pause();
    player.loudness.value = 'matched';
    const versions = entered.value.map((index) => song.versions[index]!.name);
    const trims = entered.value.map((index): [string, number] => [song.versions[index]!.name, player.trims.value[index] ?? 0]);
    const held = {
      id: newId(),
      who: page.mine.value.who.trim(),
      revision: song.revision,
      passage_secs: spanOf(song, section.value),
      versions,
      trims_db: Object.fromEntries(trims),
      rounds: rounds.value,
      written: now(),
    };
    page.mine.value = { ...page.mine.value, ballots: [...page.mine.value.ballots, held] };
    stage.value = 'done';
  };
  const isRound = stage.value === 'matched' || stage.value === 'delivered';
  const held = rounds.value.filter((round) => round.loudness === stage.value).length;
  return (
    <section class="ballot" aria-label="Blind comparison">
      <h1>{song.title}</h1>
      <h2>Which do you prefer?</h2>
      {stage.value === 'ask' && (
        <>
          <p>
            You will hear the versions under letters that change from round to round, over and over in one passage. Choose
            the one that you prefer each time. Nothing tells you which is which before the last vote.
          </p>
          <p class="sentence">
            Compare in{' '}
            <Choice
              label="Passage"
              value={String(section.value)}
              choices={song.sections.map((each, index) => ({ value: String(index), text: each.name }))}
              onChoose={(value) => {
                section.value = Number(value);
              }}
            />
            , in{' '}
            <Choice
              label="Rounds"
              value={String(many.value)}
              choices={ROUNDS.map((count) => ({ value: String(count), text: `${count} rounds` }))}
              onChoose={(value) => {
                many.value = Number(value);
              }}
            />{' '}
            at the same loudness,{' '}
            <Choice
              label="As delivered too"
              value={both.value ? 'both' : 'matched'}
              choices={[
                { value: 'both', text: 'then as many as delivered' },
                { value: 'matched', text: 'and leave it at that' },
              ]}
              onChoose={(value) => {
                both.value = value === 'both';
              }}
            />
            .
          </p>
          {song.versions.length > MOST_VERSIONS && <Entered page={page} entered={entered} />}
          <p class="sentence">
            <button type="button" class="word" disabled={entered.value.length < 2} onClick={begin}>
              Begin
            </button>
          </p>
        </>
      )}
      {stage.value === 'trim' && (
        <>
          <p>
            First make them equally loud to your own ears: go from one to the other, and move those that seem louder or
            softer. The meter has set them alike already; most people stay within 2 dB of it.
          </p>
          <Letters page={page} order={order.value} trims />
          <p class="sentence">
            <button
              type="button"
              class="word"
              onClick={() => {
                draw();
                stage.value = 'matched';
              }}
            >
              They are equally loud
            </button>
          </p>
        </>
      )}
      {isRound && (
        <>
          <p aria-live="polite">
            Round {held + 1} of {many.value}
            {stage.value === 'delivered' && ', each as loud as it will be delivered'}.
          </p>
          <Letters page={page} order={order.value} trims={false} />
          <div class="votes">
            {order.value.map((version, index) => (
              <button key={version} type="button" class="word" onClick={() => vote(version)}>
                I prefer {letter(index)}
              </button>
            ))}
          </div>
        </>
      )}
      {stage.value === 'done' &&
        sentences({ versions: entered.value.map((index) => song.versions[index]!.name), rounds: rounds.value }).map((line) => (
          <p key={line} role="status">
            {line}
          </p>
        ))}
      <p class="sentence">
        <button type="button" class="word plain" onClick={leave}>
          {stage.value === 'done' ? 'Back to the page' : 'Leave without a result'}
        </button>
      </p>
    </section>
  );
}

type Lettered = { page: Page; order: readonly number[]; trims: boolean };

/** The versions under letters; with `trims`, each can be made louder or softer. */
function Letters({ page, order, trims }: Lettered): JSX.Element {
  const { player } = page;
  return (
    <div class="blind" role="group" aria-label="Versions">
      {order.map((version, index) => (
        <div key={version} class="one">
          <button
            type="button"
            class="version"
            aria-pressed={player.heard.value === version}
            aria-label={`Hear ${letter(index)}`}
            onClick={() => {
              player.heard.value = version;
              void player.play();
            }}
          >
            {letter(index)}
          </button>
          {trims && (
            <span class="trim">
              <Amount
                label={`Level of ${letter(index)} in dB`}
                value={player.trims.value[version] ?? 0}
                min={-MOST_TRIM_DB}
                max={MOST_TRIM_DB}
                step={0.5}
                onChange={(db) => {
                  player.trims.value = player.trims.value.map((trim, at) => (at === version ? db : trim));
                }}
              />{' '}
              dB
            </span>
          )}
        </div>
      ))}
    </div>
  );
}

/** Which versions take part, where there are more than one can keep apart. */
function Entered({ page, entered }: { page: Page; entered: { value: number[] } }): JSX.Element {
  const change = (index: number, takes: boolean): void => {
    const others = entered.value.filter((other) => other !== index);
    entered.value = takes ? [...others, index].toSorted((a, b) => a - b) : others;
  };
  return (
    <fieldset class="entered">
      <legend>Two or three of these</legend>
      {page.song.versions.map((version, index) => (
        <label key={version.name}>
          <input
            type="checkbox"
            checked={entered.value.includes(index)}
            disabled={!entered.value.includes(index) && entered.value.length >= MOST_VERSIONS}
            onChange={(event) => change(index, event.currentTarget.checked)}
          />{' '}
          {version.name}
        </label>
      ))}
    </fieldset>
  );
}
