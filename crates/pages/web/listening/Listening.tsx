// The page from top to bottom: a title page, one sentence, the versions, the song, a place to write.
import type { JSX } from 'preact';
import { useEffect } from 'preact/hooks';
import { Ballot } from './Ballot';
import { Closing } from './Closing';
import { Hearing } from './Hearing';
import { Notes } from './Notes';
import { Strip } from './Strip';
import { Title } from './Title';
import { Writing } from './Writing';
import { onKey } from './keys';
import type { Page } from './state';

export function Listening({ page }: { page: Page }): JSX.Element {
  useEffect(() => {
    const listen = (event: KeyboardEvent): void => onKey(page, event);
    document.addEventListener('keydown', listen);
    return () => document.removeEventListener('keydown', listen);
  }, [page]);
  if (page.ballot.value) return <Ballot page={page} />;
  return (
    <>
      <Title song={page.song} />
      <Hearing page={page} />
      <Strip page={page} />
      <Writing page={page} />
      <Notes page={page} />
      <Closing page={page} />
    </>
  );
}
