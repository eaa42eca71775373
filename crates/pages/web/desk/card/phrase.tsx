// Sentences of the sheet, with controls for their words.
import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import { Choice } from '../../shared/sentence.tsx';
import { set } from '../edits.ts';
import type { Control, Phrase, Piece } from '../protocol.ts';
import { typeset } from '../words.ts';
import { NumberWord } from './number.tsx';

/** One control of a sentence. */
export function Word({ control }: { control: Control }): JSX.Element {
  const { takes, name } = control;
  switch (takes.kind) {
    case 'number':
      return (
        <NumberWord
          label={name}
          about={control.ridden ? `${control.sentence} A ride moves it over the song.` : control.sentence}
          takes={takes}
          disabled={control.ridden}
          onChange={(value) => set(control, value)}
        />
      );
    case 'choice':
      return (
        <Choice
          label={name}
          value={takes.value}
          choices={takes.options.map((option) => ({ value: option, text: option }))}
          onChoose={(value) => set(control, value)}
        />
      );
    case 'switch':
      return (
        <button type="button" class="word" role="switch" aria-checked={takes.value} aria-label={name} title={control.sentence} onClick={() => set(control, !takes.value)}>
          {takes.value ? 'on' : 'off'}
        </button>
      );
    case 'file':
      return <FileWord control={control} value={takes.value} />;
  }
}

function FileWord({ control, value }: { control: Control; value: string | null }): JSX.Element {
  return (
    <input
      class="word file"
      type="text"
      aria-label={control.name}
      title={control.sentence}
      placeholder="a file"
      value={value ?? ''}
      size={Math.max(8, value?.length ?? 0)}
      onChange={(event) => event.currentTarget.value !== '' && set(control, event.currentTarget.value)}
    />
  );
}

const keyOf = (piece: Piece, i: number): string => ('control' in piece ? JSON.stringify(piece.control.path) : `${i}`);

export function Pieces({ phrase }: { phrase: Phrase }): JSX.Element {
  return (
    <>
      {phrase.pieces.map((piece, i) =>
        'control' in piece ? <Word key={keyOf(piece, i)} control={piece.control} /> : <span key={keyOf(piece, i)}>{typeset(piece.words)}</span>,
      )}
    </>
  );
}

const NO_MORE: readonly Control[] = [];

/** Parts of a sentence are told apart by what they set. */
const partOf = (phrase: Phrase): string => JSON.stringify(phrase.pieces.map((piece) => ('control' in piece ? piece.control.path : piece.words)));

/** A full stop that never begins a line. */
const STOP = '\u2060.';

/** A sentence: what is at rest and what no sentence names stands behind "and more". */
export function Sentence({ phrases, more = NO_MORE, label }: { phrases: readonly Phrase[]; more?: readonly Control[]; label: string }): JSX.Element {
  const [whole, setWhole] = useState(false);
  // A number that is drawn through its rest must not vanish under the hand: what was shown once stays.
  const seen = useRef(new Set<string>());
  for (const phrase of phrases) if (!phrase.at_rest) seen.current.add(partOf(phrase));
  const folded = phrases.some((phrase) => !seen.current.has(partOf(phrase))) || more.length > 0;
  return (
    <>
      {phrases.map((phrase) => (whole || seen.current.has(partOf(phrase))) && <Pieces key={partOf(phrase)} phrase={phrase} />)}
      {whole && more.map((control) => <More key={JSON.stringify(control.path)} control={control} />)}
      {phrases.length > 0 && STOP}
      {folded && (
        <>
          {' '}
          <button type="button" class="quiet" aria-expanded={whole} aria-label={`${whole ? 'less' : 'and more'} of ${label}`} onClick={() => setWhole(!whole)}>
            {whole ? 'less' : 'and more'}
          </button>
        </>
      )}
    </>
  );
}

function More({ control }: { control: Control }): JSX.Element {
  return (
    <>
      ; {control.name} <Word control={control} />
    </>
  );
}
