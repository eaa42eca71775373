// The flow in words: what each bus takes in and where it goes. It stands where no picture is wanted.
import type { JSX } from 'preact';
import { beat, chosen, open, view } from '../state.ts';
import type { Node } from '../protocol.ts';
import { steady } from '../words.ts';
import { drawnStates } from './model.ts';

export function FlowInWords(): JSX.Element | null {
  const all = view.value;
  if (!all) return null;
  const buses = all.nodes.filter((node) => node.role !== 'source');
  const astray = all.nodes.filter((node) => node.role === 'source' && node.to === null);
  return (
    <section class="flow" aria-label="Flow" data-group="">
      <ul>
        {buses.map((bus) => (
          <li key={bus.name} class="sentence">
            <BusText bus={bus} nodes={all.nodes} />
          </li>
        ))}
        {all.prints.map((print) => (
          <li key={print.name} class="sentence">
            <Name name={print.name} /> is printed from {print.from}.
          </li>
        ))}
        {astray.map((stem) => (
          <li key={stem.name} class="sentence">
            <Name name={stem.name} /> goes nowhere.
          </li>
        ))}
      </ul>
      <p class="aside">While it plays, each name is followed by its loudness over 3 s, in LUFS.</p>
    </section>
  );
}

function BusText({ bus, nodes }: { bus: Node; nodes: readonly Node[] }): JSX.Element {
  const into = nodes.filter((node) => node.to === bus.name);
  const copies = nodes.filter((node) => node.sends.includes(bus.name));
  return (
    <>
      <Name name={bus.name} />
      {into.length > 0 && <> takes in <Row names={into} /></>}
      {copies.length > 0 && <>{into.length > 0 ? ', and copies of ' : ' takes copies of '}<Row names={copies} /></>}
      {into.length + copies.length === 0 && ' takes in nothing'}
      {bus.to === null ? '.' : `, and goes to ${bus.to}.`}
    </>
  );
}

function Row({ names }: { names: readonly Node[] }): JSX.Element {
  return (
    <>
      {names.map((node, i) => (
        <span key={node.name}>
          {i > 0 && ', '}
          <Name name={node.name} />
        </span>
      ))}
    </>
  );
}

function Name({ name }: { name: string }): JSX.Element {
  const why = drawnStates.value.get(name)?.why ?? '';
  const index = view.value?.nodes.findIndex((node) => node.name === name) ?? -1;
  const level = beat.value?.playing ? beat.value.nodes[index] : undefined;
  return (
    <>
      <button type="button" class="word" aria-pressed={open.value?.name === name} onClick={() => (chosen.value = name)}>
        {name}
      </button>
      {level && level[1] !== null && <span class="aside"> {steady(level[1], 1)}</span>}
      {why !== '' && <i class="why"> ({why})</i>}
    </>
  );
}
