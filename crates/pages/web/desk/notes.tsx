// What listeners have written: letters above the hills, and a list.
import type { JSX } from 'preact';
import type { Note } from './protocol.ts';
import { seek } from './sound/player.ts';
import { view } from './state.ts';
import { place } from './words.ts';

/** Letters where the notes stand; the list says all that they say, so that these need no stop of their own. */
export function Letters({ x }: { x: (at: number) => number }): JSX.Element | null {
  const notes = view.value?.notes ?? [];
  if (notes.length === 0) return null;
  return (
    <div class="letters">
      {notes.map((note) => (
        <button key={note.letter} type="button" class={`quiet ${note.state}`} tabIndex={-1} title={note.text} style={{ left: `${x(note.at_s)}px` }} onClick={() => seek(note.at_s)}>
          {note.letter}
        </button>
      ))}
    </div>
  );
}

const STATES: Record<string, string> = { open: '', done: 'Done.', declined: 'Declined.' };

export function Notes(): JSX.Element | null {
  const notes = view.value?.notes ?? [];
  if (notes.length === 0) return null;
  return (
    <section class="notes" aria-label="Notes of listeners" data-group="">
      <h2>Notes</h2>
      <ul>
        {notes.map((note) => (
          <li key={note.letter}>
            <p>
              <b>{note.letter}</b>, <When note={note} />, {note.who} on {note.version}: {note.text} <i>{[STATES[note.state] ?? '', note.answer ?? ''].join(' ').trim()}</i>
            </p>
          </li>
        ))}
      </ul>
    </section>
  );
}

function When({ note }: { note: Note }): JSX.Element {
  const words = note.to_s === null ? place(note.at_s) : `${place(note.at_s)} to ${place(note.to_s)}`;
  return (
    <button type="button" class="word" onClick={() => seek(note.at_s)}>
      {words}
    </button>
  );
}
