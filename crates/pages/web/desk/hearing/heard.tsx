// What is heard of the network, where it is not all of it: nobody should judge a part for the whole.
import type { JSX } from 'preact';
import { ALL } from '../ear.ts';
import { listen } from '../link.ts';
import type { Card, View } from '../protocol.ts';
import { listed } from '../words.ts';

function cardOf(all: View, name: string): Card | undefined {
  return (all.nodes.find((node) => node.name === name) ?? all.prints.find((print) => print.name === name))?.card;
}

/** In words, what is left out and what is heard alone; nothing if everything is heard. */
export function heardInWords(all: View): string | null {
  const { alone, silent, without } = all.ear;
  const left = without.map(([name, at]) => `the ${cardOf(all, name)?.processors[at]?.title ?? 'processor'} of ${name}`);
  const missing = [...silent, ...left];
  const parts = [alone.length > 0 ? `${listed(alone)} alone` : 'everything', missing.length > 0 ? ` without ${listed(missing)}` : ''];
  return alone.length + missing.length === 0 ? null : parts.join('');
}

export function Heard({ all }: { all: View }): JSX.Element | null {
  const words = heardInWords(all);
  if (words === null) return null;
  return (
    <p class="part">
      You hear <b>{words}</b>. No print is changed by it.{' '}
      <button type="button" class="word" onClick={() => listen(ALL)}>
        Hear everything
      </button>
    </p>
  );
}
