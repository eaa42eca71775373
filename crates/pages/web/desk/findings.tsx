// Findings as numbered marks: beside names on the map, and as a list with what to do.
import type { JSX } from 'preact';
import { ask } from './link.ts';
import { chosen, view } from './state.ts';
import type { Finding } from './protocol.ts';
import { seek } from './sound/player.ts';
import { place, typeset } from './words.ts';

/** The node or print that a finding is about: places read as `bus room`, `print for approval`. */
export function about(finding: Finding, names: readonly string[]): string | null {
  const exact = names.find((name) => finding.at === name || finding.at.endsWith(` ${name}`));
  return exact ?? names.find((name) => finding.at.includes(` ${name}`)) ?? null;
}

function allNames(): string[] {
  const all = view.value;
  return all ? [...all.nodes.map((node) => node.name), ...all.prints.map((print) => print.name)] : [];
}

/** Numbers of the findings about a node or print. */
export function marksOf(name: string): number[] {
  return (view.value?.findings ?? []).flatMap((finding, i) => (about(finding, allNames()) === name ? [i + 1] : []));
}

/** How advice stands: whether it was asked for, what it found, and whether the sheet is still that one. */
export function adviceInWords(holds: boolean | null, found: number): string {
  if (holds === null) return 'The desk can hear every path and processor of the song by itself, and say where one does harm.';
  const told = found === 0 ? 'Every path was heard, and nothing was found' : `Every path was heard; what was found is marked “by advice”`;
  return holds ? `${told}.` : `${told}. The sheet has changed since.`;
}

const SEVERITIES: Record<string, string> = { note: 'Note', warn: 'Warning', fail: 'Stands in the way' };

export function Findings(): JSX.Element {
  const all = view.value?.findings ?? [];
  return (
    <section class="findings" aria-label="Findings" data-group="">
      <h2>Findings</h2>
      <p class="sentence">
        {adviceInWords(view.value?.advice_holds ?? null, all.filter((finding) => finding.advised).length)}{' '}
        <button type="button" class="word" onClick={() => ask({ ask: 'advise' })}>
          Listen to every path
        </button>
      </p>
      <ol>
        {all.map((finding) => (
          <li key={`${finding.code} ${finding.at} ${finding.message} ${finding.revision}`} class={finding.severity}>
            <p>
              <FindingText finding={finding} />
            </p>
          </li>
        ))}
      </ol>
    </section>
  );
}

/** A finding in words: how grave, about what and where, what is the case, what to do. */
export function FindingText({ finding }: { finding: Finding }): JSX.Element {
  const { at_s, revision, advised } = finding;
  return (
    <>
      <b>{SEVERITIES[finding.severity] ?? finding.severity}</b>, <Where finding={finding} />
      {at_s !== null && (
        <>
          , at{' '}
          <button type="button" class="word" aria-label={`go to ${place(at_s, 1)}`} onClick={() => seek(at_s)}>
            {place(at_s, 1)}
          </button>
        </>
      )}
      {revision !== null && `, as ${revision} was printed`}
      {advised && ', by advice'}: <Quoted words={finding.message} /> <i><Quoted words={finding.remedy} /></i>
    </>
  );
}

/** Words from the desk, with what it quotes set apart. */
function Quoted({ words }: { words: string }): JSX.Element {
  const parts = words.split(/`([^`]*)`/);
  // oxlint-disable-next-line react/no-array-index-key -- the parts of a text are known by their order alone
  return <>{parts.map((part, i) => (i % 2 === 1 ? <b key={`${i}`}>{part}</b> : typeset(part)))}</>;
}

function Where({ finding }: { finding: Finding }): JSX.Element {
  const name = about(finding, allNames());
  if (name === null) return <>{finding.at}</>;
  return (
    <button type="button" class="word" onClick={() => (chosen.value = name)}>
      {finding.at}
    </button>
  );
}
