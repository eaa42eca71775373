// The page, from what is heard down to what it is made of.
import type { JSX } from 'preact';
import { BlindQuestion, BlindTest } from './blind/blind.tsx';
import { CardText } from './card/card.tsx';
import { Findings } from './findings.tsx';
import { Notes } from './notes.tsx';
import { ListeningSentence } from './hearing/sentence.tsx';
import { Caution, Help } from './help.tsx';
import { FlowInWords } from './map/flow.tsx';
import { FlowMap } from './map/map.tsx';
import { Meters } from './meters/meters.tsx';
import { pictures } from './settings.ts';
import { Notices, SheetHead } from './sheet.tsx';
import { blind, playing, view } from './state.ts';
import { Versions } from './versions.tsx';
import { SongStrip } from './strip/strip.tsx';

export function Page(): JSX.Element {
  if (!view.value) return <p class="waiting">The desk is reading the sheet …</p>;
  return (
    <div class={playing.value ? 'desk playing' : 'desk'}>
      <SheetHead />
      <Notices />
      <div class="hearing">
        {blind.value ? (
          <BlindTest test={blind.value} />
        ) : (
          <div>
            <ListeningSentence />
            <BlindQuestion />
          </div>
        )}
        <Meters />
      </div>
      {pictures.value && <SongStrip />}
      {pictures.value ? <FlowMap /> : <FlowInWords />}
      <CardText />
      <Versions />
      <Notes />
      <Findings />
      <Caution />
      <Help />
    </div>
  );
}
