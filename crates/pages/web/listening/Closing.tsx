// What ends a listening: approving a print, comparing blind, sending what was written.
import { useSignal } from '@preact/signals';
import type { JSX } from 'preact';
import { Choice } from '../shared/sentence';
import { sentences } from './ballot';
import { fileOf, join, LARGEST_FILE, newId, now, readFile } from './notes';
import { send } from './send';
import type { Page } from './state';
import { day } from './time';

export function Closing({ page }: { page: Page }): JSX.Element {
  const { song, mine, ballot } = page;
  return (
    <section class="closing" aria-label="To finish">
      <Approve page={page} />
      {song.versions.length > 1 && (
        <p class="sentence">
          Or find out what you prefer without knowing which is which:{' '}
          <button
            type="button"
            class="word"
            onClick={() => {
              ballot.value = true;
            }}
          >
            compare blind
          </button>
          .
        </p>
      )}
      {mine.value.ballots.map((held) => (
        <div key={held.id} class="held">
          {sentences(held).map((line) => (
            <p key={line}>{line}</p>
          ))}
        </div>
      ))}
      <Send page={page} />
      <footer>
        <p>
          What plays here is {song.audio.words}, made from the files that the approval names. Nothing leaves this page
          until you send it.
        </p>
        <p class="keys">
          Keys: space plays, {song.versions.length > 1 && `1 to ${Math.min(9, song.versions.length)} switch, `}the arrows
          move, L plays a section over and over, N writes.
        </p>
      </footer>
    </section>
  );
}

function Approve({ page }: { page: Page }): JSX.Element | null {
  const { song, mine } = page;
  const prints = song.versions.filter((version) => version.sha256 !== null);
  const picked = useSignal(prints.at(-1)?.name ?? '');
  const print = prints.find((version) => version.name === picked.value);
  if (!print?.sha256) return null;
  const given = [...song.approvals, ...mine.value.approvals].filter(
    (approval, index, all) => all.findIndex((other) => other.id === approval.id) === index,
  );
  const approve = (): void => {
    const who = mine.value.who.trim();
    const approval = { id: newId(), who, revision: song.revision, version: print.name, sha256: print.sha256!, written: now() };
    mine.value = { ...mine.value, approvals: [...mine.value.approvals, approval] };
  };
  const undo = (id: string): void => {
    mine.value = { ...mine.value, approvals: mine.value.approvals.filter((approval) => approval.id !== id) };
  };
  return (
    <>
      <p class="sentence">
        When one of them is right:{' '}
        <button type="button" class="word" onClick={approve} disabled={mine.value.who.trim() === ''}>
          I approve
        </button>{' '}
        <Choice
          label="The print to approve"
          value={picked.value}
          choices={prints.map((version) => ({ value: version.name, text: `“${version.name}”` }))}
          onChoose={(value) => {
            picked.value = value;
          }}
        />{' '}
        of {song.revision}.{mine.value.who.trim() === '' && <span class="hint"> (Sign with your name first.)</span>}
      </p>
      {given.map((approval) => (
        <p key={approval.id} class="approved" role="status">
          <b>{approval.who}</b> approved <b>{approval.version}</b> of {approval.revision} on {day(approval.written)}.{' '}
          <small>File {approval.sha256.slice(0, 12)}… by SHA-256.</small>{' '}
          {mine.value.approvals.some((own) => own.id === approval.id) && (
            <button type="button" class="word plain" onClick={() => undo(approval.id)}>
              Take back
            </button>
          )}
        </p>
      ))}
    </>
  );
}

function Send({ page }: { page: Page }): JSX.Element {
  const { song, mine, isKept } = page;
  const said = useSignal('');
  const { notes, approvals, ballots } = mine.value;
  const count = notes.length + approvals.length + ballots.length;
  const sendAll = async (): Promise<void> => {
    const by = mine.value.who.trim() === '' ? '' : ` by ${mine.value.who.trim()}`;
    said.value = await send(`${song.title} ${song.revision} notes${by}.json`, fileOf(song, mine.value));
  };
  const take = async (event: JSX.TargetedEvent<HTMLInputElement>): Promise<void> => {
    const input = event.currentTarget;
    const file = input.files?.[0];
    if (!file) return;
    const read = file.size > LARGEST_FILE ? 'That file is far too large to be notes.' : readFile(await file.text());
    input.value = '';
    if (typeof read === 'string') said.value = read;
    else {
      mine.value = join(mine.value, read);
      said.value = read.notes.length === 1 ? 'One note was read.' : `${read.notes.length} notes were read.`;
    }
  };
  return (
    <>
      <p class="sentence">
        <button type="button" class="word" disabled={count === 0} onClick={() => void sendAll()}>
          Send what I wrote
        </button>{' '}
        {count === 0 ? 'once there is something.' : 'back to the engineer, as one small file.'}{' '}
        <label class="word plain file">
          Read in notes of another
          <input class="unseen" type="file" accept=".json,application/json" onChange={(event) => void take(event)} />
        </label>
      </p>
      <p class="said" role="status">
        {said.value}
        {!isKept.value && ' This browser keeps nothing for a page from disk: send your notes before you close it.'}
      </p>
    </>
  );
}
