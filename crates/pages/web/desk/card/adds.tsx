// What the part whose card lies open adds to the passage that is heard: in words, and as a table of figures.
import { computed, effect } from '@preact/signals';
import type { JSX } from 'preact';
import { passageAt, sectionOf } from '../hearing/passage.ts';
import { ask } from '../link.ts';
import type { Adds, Figures, Opened, Processor } from '../protocol.ts';
import { adds, heardAt, linked, open, view, weighed } from '../state.ts';
import { place, signed, steady, typeset } from '../words.ts';

/** What is to be weighed, as text: it is asked for when the text changes. */
const wanted = computed<string | null>(() => {
  const [all, one] = [view.value, open.value];
  if (!all || !one) return null;
  const [from_s, to_s] = all.hearing.span_s ?? passageAt(all, heardAt.value);
  return JSON.stringify({ name: one.name, from_s, to_s } satisfies Opened);
});

/** Asks the desk to weigh whatever card lies open, over whatever passage is heard. */
export function weigh(): void {
  effect(() => {
    if (linked.value && wanted.value !== null) ask({ ask: 'open', opened: JSON.parse(wanted.value) as Opened });
  });
}

/** What is known of the card that lies open. */
export const known = computed<Adds | null>(() => (adds.value && adds.value.name === open.value?.name ? adds.value : null));

/** A sentence goes on: what stood at its start stands in its midst. */
export const within = (sentence: string): string => sentence.charAt(0).toLowerCase() + sentence.slice(1);

/** The passage in words: a section by its name. */
export function passageInWords(span: [number, number], sections: readonly { name: string }[], section: number): string {
  const name = sections[section]?.name;
  return name === undefined ? `from ${place(span[0])} to ${place(span[1])}` : `in ${name}`;
}

/** How loud it is where it joins a bus, against all else there. */
const lies = (bus: string, over: number): string => `It lies ${steady(Math.abs(over), 1)} LU ${over < 0 ? 'under' : 'over'} the rest of ${bus}.`;

export function AddsText({ processors, isPrint }: { processors: readonly Processor[]; isPrint: boolean }): JSX.Element | null {
  const [all, found] = [view.value, known.value];
  if (isPrint && processors.length === 0) return null;
  if (!all || !found) return <p class="adds aside">What it adds is being weighed.</p>;
  if (found.print === null) return <p class="adds aside">It reaches no print, and adds nothing.</p>;
  const where = passageInWords(found.span_s, all.sections, sectionOf(all, found.span_s));
  const rows: [string, Figures][] = [[isPrint ? 'the whole chain' : found.name, found.whole]];
  found.processors.forEach((each, i) => {
    if (each && processors[i]) rows.push([processors[i].title, each.in_place]);
  });
  return (
    <div class={weighed.value ? 'adds' : 'adds stale'}>
      <p class="sentence">
        Against {isPrint ? 'it without its chain' : <><b>{found.print}</b> without it</>}, {where}: it <i>{typeset(within(found.whole.sentence))}</i>
        {found.over_rest && ` ${lies(...found.over_rest)}`}
        {!weighed.value && <span class="aside"> It is being weighed again.</span>}
      </p>
      <table>
        <caption>Loudness in LU, all else in dB; low, middle and high at matched loudness.</caption>
        <thead>
          <tr>
            <th scope="col">adds</th>
            {['loudness', 'low', 'middle', 'high', 'crest', 'width'].map((name) => (
              <th scope="col" key={name}>
                {name}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.map(([name, figures], i) => (
            // oxlint-disable-next-line react/no-array-index-key -- a processor is known by its place alone
            <Row key={`${i}`} name={name} figures={figures} />
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Row({ name, figures }: { name: string; figures: Figures }): JSX.Element {
  const values = [figures.loudness_lu, ...figures.low_mid_high_db, figures.crest_db, figures.width_db];
  return (
    <tr>
      <th scope="row">{name}</th>
      {values.map((value, i) => (
        // oxlint-disable-next-line react/no-array-index-key -- columns are known by their order alone
        <td key={`${i}`}>{value === null ? '—' : signed(value)}</td>
      ))}
    </tr>
  );
}

/** What a processor adds: in its place, and in the print. */
export function ProcessorAdds({ index }: { index: number }): JSX.Element | null {
  const each = known.value?.processors[index];
  if (!each) return null;
  return (
    <p class={weighed.value ? 'adds sentence' : 'adds sentence stale'}>
      <i>{typeset(each.in_place.sentence)}</i> In <b>{known.value?.print}</b> it {typeset(within(each.in_print.sentence))}
    </p>
  );
}
