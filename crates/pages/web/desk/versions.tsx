// Versions of the sheet by name: keeping one, hearing it, how it differs, going back to it.
import { signal } from '@preact/signals';
import type { JSX } from 'preact';
import { hearVersion } from './hearing/version.ts';
import { ask } from './link.ts';
import type { Version } from './protocol.ts';
import { differs, view } from './state.ts';
import { typeset } from './words.ts';

/** The name that is being written. */
const named = signal('');

export function Versions(): JSX.Element | null {
  const versions = view.value?.versions;
  if (!versions) return null;
  const keep = (event: Event): void => {
    event.preventDefault();
    const name = named.value.trim();
    if (name === '') return;
    ask({ ask: 'keep', name });
    named.value = '';
  };
  return (
    <section class="versions" aria-label="Versions" data-group="">
      <h2>Versions</h2>
      <form class="sentence" onSubmit={keep}>
        Keep the sheet as it is now as{' '}
        <input class="word file" type="text" aria-label="Name of the version" placeholder="a name" maxLength={60} value={named.value} onInput={(event) => (named.value = event.currentTarget.value)} />{' '}
        <button type="submit" class="quiet">
          keep
        </button>
      </form>
      <ul>
        {versions.map((version) => (
          <VersionText key={version.name} version={version} />
        ))}
      </ul>
    </section>
  );
}

/** When it was kept, as people here write it. */
export function when(seconds: number, locale?: string): string {
  return new Date(seconds * 1000).toLocaleString(locale, { day: 'numeric', month: 'long', hour: '2-digit', minute: '2-digit' });
}

function VersionText({ version: { name, kept_s } }: { version: Version }): JSX.Element {
  const shown = differs.value?.name === name ? differs.value.changes : null;
  const turn = (): void => {
    if (shown) differs.value = null;
    else ask({ ask: 'differ', name });
  };
  return (
    <li class="sentence">
      <b>{name}</b>, kept on {when(kept_s)}.{' '}
      <Heard name={name} />{' '}
      <button type="button" class="quiet" aria-expanded={shown !== null} aria-label={`${shown ? 'fold ' : ''}what changed since “${name}”`} onClick={turn}>
        {shown ? 'fold' : 'what changed since'}
      </button>{' '}
      <button type="button" class="quiet" aria-label={`go back to it: ${name}`} onClick={() => ask({ ask: 'take', name })}>
        go back to it
      </button>
      {shown && <Changes changes={shown} />}
    </li>
  );
}

/** Whether it can be heard beside the sheet as it is now, and how. */
function Heard({ name }: { name: string }): JSX.Element | null {
  const all = view.value;
  if (!all) return null;
  const prints = all.earlier.filter(({ is_version, revision }) => is_version && revision === name);
  const isHeard = prints.some((print) => print.name === all.hearing.programme);
  const words = isHeard ? 'hear the sheet as it is now' : prints.length > 0 ? 'hear it (t)' : 'render it, to hear it beside this one';
  return (
    <button type="button" class="quiet" aria-label={`${words}: ${name}`} onClick={() => hearVersion(all, name)}>
      {words}
    </button>
  );
}

function Changes({ changes }: { changes: readonly [string, string][] }): JSX.Element {
  if (changes.length === 0) return <p>Nothing: the sheet is as it was kept.</p>;
  return (
    <ul>
      {changes.map(([at, what], i) => (
        // oxlint-disable-next-line react/no-array-index-key -- a change is known by its order alone
        <li key={`${i}`}>
          {at}: {typeset(what)}
        </li>
      ))}
    </ul>
  );
}
