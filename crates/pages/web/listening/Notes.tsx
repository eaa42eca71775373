// The notes, lettered by time, with what became of those that came back.
import type { JSX } from 'preact';
import type { Shown } from './notes';
import type { Page } from './state';
import { letter, moment } from './time';

export function Notes({ page }: { page: Page }): JSX.Element | null {
  const { notes } = page;
  if (notes.value.length === 0) return null;
  return (
    <section aria-labelledby="notes">
      <h2 id="notes">Notes</h2>
      <ol class="notes">
        {notes.value.map((note, index) => (
          <Note key={note.id} page={page} note={note} mark={letter(index)} />
        ))}
      </ol>
    </section>
  );
}

const OUTCOMES = { open: '', done: 'Done', declined: 'Not done' } as const;

function Note({ page, note, mark }: { page: Page; note: Shown; mark: string }): JSX.Element {
  const { song, player, mine, chosen } = page;
  const go = (): void => {
    chosen.value = note.id;
    if (note.at !== null) player.seek(note.at);
    const version = song.versions.findIndex((candidate) => candidate.name === note.version);
    if (version >= 0) player.heard.value = version;
  };
  const remove = (): void => {
    mine.value = { ...mine.value, notes: mine.value.notes.filter((other) => other.id !== note.id) };
  };
  const sent = song.notes.some((other) => other.id === note.id);
  return (
    <li class="note" aria-current={chosen.value === note.id ? 'true' : undefined}>
      <span class="mark" aria-hidden="true">
        {mark}
      </span>
      <p class="head">
        {note.at === null ? (
          <>somewhere in {note.revision}</>
        ) : (
          <button type="button" class="word plain" onClick={go}>
            <span class="unseen">{mark}, </span>
            {moment(note.at, note.to)}
          </button>
        )}
        , {note.who === '' ? 'unsigned' : note.who} on {note.version}
        {note.revision !== song.revision && <> of {note.revision}</>}
      </p>
      <p class="text">{note.text}</p>
      {note.state !== 'open' && (
        <p class="answer">
          <b>{OUTCOMES[note.state]}.</b> {note.answer}
        </p>
      )}
      {note.mine && !sent && (
        <button type="button" class="word plain strike" onClick={remove} aria-label={`Strike note ${mark}`}>
          Strike
        </button>
      )}
    </li>
  );
}
