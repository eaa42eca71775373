import type { JSX } from 'preact';
import type { Song } from './song';
import { day } from './time';

export function Title({ song }: { song: Song }): JSX.Element {
  return (
    <header class="title">
      <h1>{song.title}</h1>
      {song.artist !== '' && <p class="artist">{song.artist}</p>}
      <p class="edition">
        {song.revision}
        {song.label !== null && <>, {song.label}</>}
        <span aria-hidden="true"> · </span>
        <span class="unseen">, </span>
        {day(song.date)}
      </p>
    </header>
  );
}
