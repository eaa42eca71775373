// A processor of a chain: its sentence, its rows, and whether it is heard.
import type { JSX } from 'preact';
import { Choice } from '../../shared/sentence.tsx';
import { edit } from '../edits.ts';
import { without } from '../ear.ts';
import { listen } from '../link.ts';
import { mayGoTo } from '../map/rewire.tsx';
import type { Key, Processor, Row } from '../protocol.ts';
import { view } from '../state.ts';
import { ProcessorAdds } from './adds.tsx';
import { Figure } from './figure.tsx';
import { Sentence } from './phrase.tsx';
import { Reduction } from './reduction.tsx';

type Shown = { processor: Processor; owner: string; index: number; count: number };

export function ProcessorText({ processor, owner, index, count }: Shown): JSX.Element {
  const { path, title, off } = processor;
  const left = view.value?.ear.without.some(([name, at]) => name === owner && at === index) ?? false;
  const [name, list] = [`${title} of ${owner}`, path.slice(0, -1)];
  const state = off ? 'out' : left ? 'left' : 'in';
  return (
    <li class={`processor ${state}`} aria-label={title} data-group="">
      <h3 title={processor.summary}>{title}</h3>
      <p class="sentence">
        <Sentence phrases={processor.sentence} more={processor.more} label={title} />
        {processor.key && <Listens of={processor.key} owner={owner} title={title} />}
        {off && <span class="aside"> (taken out)</span>}
        {left && <span class="aside"> (left out for listening)</span>}
      </p>
      {processor.rows_name && <Rows processor={processor} names={processor.rows_name} owner={owner} />}
      {processor.figure !== null && <Figure address={processor.figure} title={title} />}
      <ProcessorAdds index={index} />
      <Reduction owner={owner} index={index} />
      {processor.caution !== '' && (
        <details class="caution">
          <summary>be careful</summary>
          <p>{processor.caution}</p>
        </details>
      )}
      <p class="acts">
        <button type="button" class="quiet" aria-pressed={left} disabled={off} data-without={index} onClick={() => view.value && listen(without(view.value.ear, owner, index))}>
          {left ? 'hear with it' : 'hear without it'}
        </button>
        <button type="button" class="quiet" onClick={() => takeOut(processor, name)}>
          {off ? 'put back in' : 'take out'}
        </button>
        {index > 0 && (
          <button type="button" class="quiet" onClick={() => edit(`${name} earlier`, { edit: 'move', path, to: index - 1 })}>
            earlier
          </button>
        )}
        {index < count - 1 && (
          <button type="button" class="quiet" onClick={() => edit(`${name} later`, { edit: 'move', path, to: index + 1 })}>
            later
          </button>
        )}
        <button type="button" class="quiet" onClick={() => list.length > 0 && edit(`${name} removed`, { edit: 'remove', path })}>
          remove
        </button>
      </p>
    </li>
  );
}

/** What moves the processor: its own input, or another stem or bus. Nothing may listen to what it feeds. */
function Listens({ of: { path, of }, owner, title }: { of: Key; owner: string; title: string }): JSX.Element {
  const isPrint = view.value?.prints.some((print) => print.name === owner) ?? false;
  const able = view.value?.nodes.filter(({ name }) => name !== owner && (isPrint || mayGoTo(name, owner))) ?? [];
  const choices = [{ value: '', text: 'its own input' }, ...able.map(({ name }) => ({ value: name, text: name }))];
  const words = `${title} of ${owner} listens to`;
  const choose = (name: string): void =>
    name === '' ? edit(`${words} its own input`, { edit: 'remove', path }) : edit(`${words} ${name}`, { edit: 'set', path, value: name });
  return (
    <span class={of === null ? 'aside' : ''}>
      {' '}
      It listens to <Choice label={`${title} listens to`} value={of ?? ''} choices={choices} onChoose={choose} />.
    </span>
  );
}

function takeOut({ path, off }: Processor, name: string): void {
  const at = [...path, 'off'];
  if (off) edit(`${name} put back in`, { edit: 'remove', path: at });
  else edit(`${name} taken out`, { edit: 'set', path: at, value: true });
}

function Rows({ processor, names: [rows, row], owner }: { processor: Processor; names: [string, string]; owner: string }): JSX.Element {
  const list = [...processor.path, processor.name, rows];
  const add = (): void => edit(`a ${row} more in ${processor.title} of ${owner}`, { edit: 'insert', path: list, at: processor.rows.length, value: {} });
  return (
    <>
      <ol class="rows">
        {processor.rows.map((each, i) => (
          <RowText key={JSON.stringify(each.path)} row={each} name={`${row} ${i + 1}`} title={`${processor.title} of ${owner}`} />
        ))}
      </ol>
      <p class="acts">
        <button type="button" class="quiet" onClick={add}>
          add a {row}
        </button>
      </p>
    </>
  );
}

function RowText({ row, name, title }: { row: Row; name: string; title: string }): JSX.Element {
  return (
    <li class="sentence" aria-label={name}>
      <Sentence phrases={row.sentence} more={row.more} label={name} />{' '}
      <button type="button" class="quiet" aria-label={`remove ${name}`} onClick={() => edit(`${name} of ${title} removed`, { edit: 'remove', path: row.path })}>
        remove
      </button>
    </li>
  );
}
