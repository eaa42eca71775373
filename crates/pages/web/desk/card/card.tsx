// The card of a stem, bus or print: everything it does, as sentences.
import type { JSX } from 'preact';
import { Choice } from '../../shared/sentence.tsx';
import { edit } from '../edits.ts';
import { alone, silent } from '../ear.ts';
import { listen } from '../link.ts';
import type { Card, Node, Print, View } from '../protocol.ts';
import { beat, chosen, open, view } from '../state.ts';
import { goTo, listOf, mayGoTo } from '../map/rewire.tsx';
import { closed, bundle } from '../map/model.ts';
import { loudness } from '../words.ts';
import { AddsText } from './adds.tsx';
import { Sentence } from './phrase.tsx';
import { ProcessorText } from './processor.tsx';
import { Rides } from './rides.tsx';

const isNode = (one: Node | Print): one is Node => 'role' in one;

export function CardText(): JSX.Element | null {
  const [all, one] = [view.value, open.value];
  if (!all || !one) return null;
  return (
    <section class="card" aria-label={`Card of ${one.name}`} key={one.name}>
      <header data-group="">
        <h2 tabIndex={-1}>{one.name}</h2>
        <p class="sentence">{isNode(one) ? <NodeText node={one} all={all} /> : <PrintText print={one} all={all} />}</p>
        {isNode(one) && <Acts node={one} all={all} />}
        {isNode(one) && <Sends node={one} all={all} />}
        <Rides card={one.card} owner={one.name} />
        <AddsText processors={one.card.processors} isPrint={!isNode(one)} />
      </header>
      <Chain card={one.card} owner={one.name} all={all} />
    </section>
  );
}

const KINDS = { source: 'A stem', bus: 'A bus', return: 'A return' };

function NodeText({ node, all }: { node: Node; all: View }): JSX.Element {
  const able = all.nodes.filter((other) => other.role !== 'source' && mayGoTo(node.name, other.name));
  const choices = able.map((bus) => ({ value: bus.name, text: bus.name }));
  if (node.to === null) choices.unshift({ value: '', text: 'nowhere but prints' });
  return (
    <>
      {KINDS[node.role]} that goes to{' '}
      <Choice label={`${node.name} goes to`} value={node.to ?? ''} choices={choices} onChoose={(bus) => bus !== '' && goTo(node.name, bus)} />,{' '}
      <Sentence phrases={node.card.sentence} label={node.name} />
      <Loudness of={beat.value?.nodes[all.nodes.indexOf(node)]} />
    </>
  );
}

function PrintText({ print, all }: { print: Print; all: View }): JSX.Element {
  return (
    <>
      A print that draws from{' '}
      <button type="button" class="word" onClick={() => (chosen.value = print.from)}>
        {print.from}
      </button>
      .<Loudness of={beat.value?.programmes[all.prints.indexOf(print)]} />
    </>
  );
}

/** How loud it is now, in words. */
function Loudness({ of }: { of: [number | null, number | null] | undefined }): JSX.Element | null {
  if (!of || !beat.value?.playing) return null;
  return <span class="aside"> Now {loudness(of[1] ?? of[0])}.</span>;
}

function Acts({ node, all }: { node: Node; all: View }): JSX.Element {
  const { ear } = all;
  const stems = all.nodes.filter((other) => other.role === 'source' && other.to === node.name).length;
  return (
    <p class="acts">
      <button type="button" class="quiet" aria-pressed={ear.alone.includes(node.name)} onClick={() => listen(alone(ear, node.name))}>
        hear alone
      </button>
      <button type="button" class="quiet" aria-pressed={ear.silent.includes(node.name)} onClick={() => listen(silent(ear, node.name))}>
        hear without
      </button>
      <button type="button" class="quiet" aria-pressed={node.mute} onClick={() => mute(node)}>
        mute in the sheet
      </button>
      {stems > 2 && (
        <button type="button" class="quiet" aria-pressed={closed.value.has(node.name)} onClick={() => bundle(node.name)}>
          draw its {stems} stems as one
        </button>
      )}
    </p>
  );
}

/** Silences a node in the sheet, prints included, or lets it sound. */
export function mute(node: Node): void {
  const path = [listOf(node.role), node.name, 'mute'];
  if (node.mute) edit(`${node.name} sounds again`, { edit: 'remove', path });
  else edit(`${node.name} muted`, { edit: 'set', path, value: true });
}

function Sends({ node, all }: { node: Node; all: View }): JSX.Element {
  const list = [listOf(node.role), node.name, 'sends'];
  const able = all.nodes.filter((other) => other.role !== 'source' && !node.sends.includes(other.name) && mayGoTo(node.name, other.name));
  const choices = [{ value: '', text: 'choose a bus' }, ...able.map((bus) => ({ value: bus.name, text: bus.name }))];
  const add = (to: string): void => {
    if (to !== '') edit(`a copy of ${node.name} goes to ${to}`, { edit: 'insert', path: list, at: node.sends.length, value: { to, level_db: -20 } });
  };
  return (
    <ul class="sends">
      {node.card.sends.map((send) => (
        <li class="sentence" key={send.to}>
          A copy to <b>{send.to}</b>, <Sentence phrases={send.sentence} label={`the copy to ${send.to}`} />{' '}
          <button
            type="button"
            class="quiet"
            aria-label={`remove the copy to ${send.to}`}
            onClick={() => edit(`no copy of ${node.name} to ${send.to}`, { edit: 'remove', path: send.path })}
          >
            remove
          </button>
        </li>
      ))}
      <li class="sentence add">
        Send a copy to <Choice label="Send a copy to" value="" choices={choices} onChoose={add} />
      </li>
    </ul>
  );
}

function Chain({ card, owner, all }: { card: Card; owner: string; all: View }): JSX.Element {
  const choices = [{ value: '', text: 'choose a processor' }, ...all.catalogue.map((offer) => ({ value: offer.name, text: `${offer.title}: ${offer.summary}` }))];
  const add = (name: string): void => {
    const offer = all.catalogue.find((each) => each.name === name);
    if (offer) edit(`${offer.title} added to ${owner}`, { edit: 'insert', path: card.chain, at: card.processors.length, value: { [name]: {} } });
  };
  return (
    <>
      <ol class="chain" aria-label={`Processors of ${owner}, in order`}>
        {card.processors.map((processor, i) => (
          <ProcessorText key={JSON.stringify(processor.path)} processor={processor} owner={owner} index={i} count={card.processors.length} />
        ))}
      </ol>
      <p class="sentence add" data-group="">
        {card.processors.length === 0 ? 'Its chain is empty. ' : ''}Add <Choice label="Add a processor" value="" choices={choices} onChoose={add} /> at the end.
      </p>
    </>
  );
}
