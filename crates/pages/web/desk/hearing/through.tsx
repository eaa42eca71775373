// What a programme is heard through, as words: a way of listening, or a codec at a rate.
import type { JSX } from 'preact';
import { Choice } from '../../shared/sentence.tsx';
import type { Codec, Through, View } from '../protocol.ts';

const WAYS: readonly { value: Through; text: string }[] = [
  { value: 'nothing', text: 'nothing else' },
  { value: 'mono', text: 'mono' },
  { value: 'side', text: 'the sides alone' },
  { value: 'small-speaker', text: 'one small speaker' },
];

/** The rate that a codec begins with, where it has that. */
export const FIRST_KBPS = 128;

/** The codec and rate that a way of listening names; nothing for the others. */
export function codecOf(codecs: readonly Codec[], through: Through): { codec: Codec; kbps: number } | null {
  const [name, kbps] = through.split(' ');
  const codec = codecs.find((each) => each.name === name);
  return codec && kbps !== undefined ? { codec, kbps: Number(kbps) } : null;
}

/** A codec at a rate that it has, as near as may be to what was chosen. */
export function atRate(codec: Codec, kbps: number): Through {
  const near = codec.kbps.toSorted((a, b) => Math.abs(a - kbps) - Math.abs(b - kbps))[0] ?? kbps;
  return `${codec.name} ${near}`;
}

type Shown = { all: View; label: string; value: Through; onChoose: (value: Through) => void };

export function ThroughWords({ all, label, value, onChoose }: Shown): JSX.Element {
  const chosen = codecOf(all.codecs, value);
  const choices = [...WAYS, ...all.codecs.map(({ name, title }) => ({ value: name, text: title }))];
  const choose = (way: string): void => {
    const codec = all.codecs.find(({ name }) => name === way);
    onChoose(codec ? atRate(codec, chosen?.kbps ?? FIRST_KBPS) : (way as Through));
  };
  return (
    <>
      <Choice label={label} value={chosen?.codec.name ?? value} choices={choices} onChoose={choose} />
      {chosen && (
        <>
          {' at '}
          <Choice
            label={`${label}: rate`}
            value={String(chosen.kbps)}
            choices={chosen.codec.kbps.map((kbps) => ({ value: String(kbps), text: `${kbps} kbit/s` }))}
            onChoose={(kbps) => onChoose(atRate(chosen.codec, Number(kbps)))}
          />
        </>
      )}
    </>
  );
}
