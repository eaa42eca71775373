// A place to write: what, at which moment or over which span, about which version.
import type { JSX } from 'preact';
import { LONGEST_NAME, LONGEST_TEXT, newId, now, type Note } from './notes';
import type { Draft, Page } from './state';
import { clock } from './time';

export function Writing({ page }: { page: Page }): JSX.Element {
  const { song, player, draft, mine } = page;
  const open = (change: Partial<Draft>): void => {
    const before = draft.value ?? { from: player.at.value, to: null, text: '' };
    draft.value = { ...before, ...change };
  };
  const write = (event: JSX.TargetedSubmitEvent<HTMLFormElement>): void => {
    event.preventDefault();
    const written = draft.value;
    if (!written || written.text.trim() === '') return;
    const tenths = (secs: number): number => Math.round(secs * 10) / 10;
    const note: Note = {
      id: newId(),
      who: mine.value.who.trim(),
      revision: song.revision,
      version: song.versions[player.heard.value]!.name,
      at_secs: tenths(written.from),
      ...(written.to === null ? {} : { to_secs: tenths(written.to) }),
      text: written.text.trim(),
      written: now(),
    };
    mine.value = { ...mine.value, notes: [...mine.value.notes, note] };
    draft.value = null;
    page.chosen.value = note.id;
  };
  const at = draft.value ?? { from: player.at.value, to: null, text: '' };
  return (
    <section class="writing" aria-label="Write a note">
      <form onSubmit={write}>
        <p class="sentence">
          <label for="text">
            At <b>{clock(at.from)}</b>
            {at.to !== null && (
              <>
                {' to '}
                <b>{clock(at.to)}</b>
              </>
            )}
            , on <b>{song.versions[player.heard.value]!.name}</b>:
          </label>
        </p>
        <textarea
          id="text"
          rows={3}
          maxLength={LONGEST_TEXT}
          value={draft.value?.text ?? ''}
          placeholder="What do you hear?"
          onFocus={() => open({})}
          onInput={(event) => open({ text: event.currentTarget.value })}
          onBlur={() => {
            if (draft.value && draft.value.text === '' && draft.value.to === null) draft.value = null;
          }}
        />
        <p class="under sentence">
          <span class="acts">
            <button type="button" class="word plain" onClick={() => open({ from: player.at.value, to: null })}>
              From here
            </button>
            <button
              type="button"
              class="word plain"
              disabled={draft.value === null || player.at.value <= at.from}
              onClick={() => open({ to: player.at.value })}
            >
              to here
            </button>
          </span>
          <label class="by">
            signed{' '}
            <input
              class="name"
              type="text"
              autocomplete="name"
              maxLength={LONGEST_NAME}
              placeholder="your name"
              value={mine.value.who}
              onInput={(event) => {
                mine.value = { ...mine.value, who: event.currentTarget.value };
              }}
            />
          </label>
          <button type="submit" class="word" disabled={(draft.value?.text ?? '').trim() === ''}>
            Keep this note
          </button>
        </p>
      </form>
    </section>
  );
}
