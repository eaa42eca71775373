// The head of the page: what song this is, and what can be done with its sheet.
import type { JSX } from 'preact';
import { signal } from '@preact/signals';
import { Choice } from '../shared/sentence.tsx';
import { turn } from './edits.ts';
import { ask } from './link.ts';
import { helpOpen } from './keys.ts';
import { light, pictures } from './settings.ts';
import { linked, printed, progress, refused, view } from './state.ts';

/** Prompts that were put aside. */
const aside = signal<ReadonlySet<string>>(new Set());

export function SheetHead(): JSX.Element | null {
  const song = view.value?.song;
  if (!song) return null;
  return (
    <header class="head">
      <h1>
        {song.title} <span class="artist">{song.artist}</span>
      </h1>
      <p class="state">
        {song.unsaved ? `${song.sheet} has changes that are not saved` : `${song.sheet} is saved`}
        <Progress />
      </p>
      <p class="acts" data-group="">
        <Act words="undo" about={song.undo} onClick={() => turn(true)} />
        <Act words="redo" about={song.redo} onClick={() => turn(false)} />
        <button type="button" class="quiet" disabled={!song.unsaved} onClick={() => ask({ ask: 'save' })}>
          save
        </button>
        <button type="button" class="quiet" title="Prints the sheet as it is saved" onClick={() => ask({ ask: 'print' })}>
          print
        </button>
        <Choice
          label="Light"
          value={light.value}
          choices={[
            { value: 'system', text: 'the system’s light' },
            { value: 'day', text: 'day light' },
            { value: 'night', text: 'night light' },
          ]}
          onChoose={(value) => (light.value = value as typeof light.value)}
        />
        <button type="button" class="quiet" aria-pressed={!pictures.value} onClick={() => (pictures.value = !pictures.value)}>
          words alone
        </button>
        <button type="button" class="quiet" aria-haspopup="dialog" onClick={() => (helpOpen.value = true)}>
          keys
        </button>
      </p>
    </header>
  );
}

/** Work under way, beside the state of the sheet: nothing moves for it. */
function Progress(): JSX.Element | null {
  const work = progress.value;
  if (!work) return null;
  return (
    <span class="progress">
      {work.what}: {Math.round(work.part * 100)}% <progress value={work.part} aria-label={work.what} />
    </span>
  );
}

function Act({ words, about, onClick }: { words: string; about: string | null; onClick: () => void }): JSX.Element {
  return (
    <button type="button" class="quiet act" disabled={about === null} title={about ?? ''} onClick={onClick}>
      {words}
      {about !== null && <i>{about}</i>}
    </button>
  );
}

/** What the desk has to say just now, in sentences. */
export function Notices(): JSX.Element {
  return (
    <div class="notices" role="status">
      {!linked.value && <p>The desk does not answer. Is it still running? This page asks again every second.</p>}
      <Outside />
      <Before />
      {refused.value && (
        <Notice id="refused" onAside={() => (refused.value = null)}>
          That cannot be done: {refused.value.message} <i>{refused.value.remedy}</i>
        </Notice>
      )}
      {printed.value && (
        <Notice id="printed" onAside={() => (printed.value = null)}>
          {printed.value.revision} is printed; {printed.value.sound ? 'no finding stands in its way' : 'findings stand in its way'}.{' '}
          <a class="word" href={`/report/${encodeURIComponent(printed.value.revision)}/report.html`} target="_blank" rel="noopener">
            Open its report
          </a>
        </Notice>
      )}
    </div>
  );
}

function Notice({ id, onAside, children }: { id: string; onAside: () => void; children: JSX.Element['props']['children'] }): JSX.Element {
  return (
    <p key={id}>
      {children}{' '}
      <button type="button" class="quiet" onClick={onAside}>
        put aside
      </button>
    </p>
  );
}

function Outside(): JSX.Element | null {
  if (!view.value?.song.changed_outside) return null;
  return (
    <p>
      Somebody else changed {view.value.song.sheet} while changes here are not saved.{' '}
      <button type="button" class="word" onClick={() => ask({ ask: 'reload' })}>
        Take the file as it is now
      </button>
      , or{' '}
      <button type="button" class="word" onClick={() => ask({ ask: 'save' })}>
        save yours over it
      </button>
      .
    </p>
  );
}

function Before(): JSX.Element | null {
  if (!view.value?.song.unsaved_before || aside.value.has('before')) return null;
  return (
    <p>
      Changes of an earlier session were never saved.{' '}
      <button type="button" class="word" onClick={() => ask({ ask: 'recover' })}>
        Take them up
      </button>
      , or{' '}
      <button type="button" class="word" onClick={() => (aside.value = new Set([...aside.value, 'before']))}>
        leave them
      </button>
      .
    </p>
  );
}
