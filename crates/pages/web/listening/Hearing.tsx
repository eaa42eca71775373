// What is heard, as a sentence; the versions as large words; and the start.
import type { JSX } from 'preact';
import { Choice } from '../shared/sentence';
import type { Loudness } from './player';
import { sectionAt } from './song';
import type { Page } from './state';
import { clock } from './time';

export function Hearing({ page }: { page: Page }): JSX.Element {
  const { song, player } = page;
  const heard = song.versions[player.heard.value]!;
  const matched = player.loudness.value === 'matched';
  return (
    <section aria-labelledby="hearing">
      <p class="sentence hearing" id="hearing">
        You are hearing <b>{heard.name}</b>,{' '}
        <Choice
          label="Loudness"
          value={player.loudness.value}
          choices={[
            { value: 'matched', text: 'at the same loudness' },
            { value: 'delivered', text: 'as loud as delivered' },
          ]}
          onChoose={(value) => {
            player.loudness.value = value as Loudness;
          }}
        />
        {matched ? ' as the others.' : '.'}
      </p>
      <div class="versions" role="group" aria-label="Versions">
        {song.versions.map((version, index) => (
          <button
            key={version.name}
            type="button"
            class="version"
            aria-pressed={player.heard.value === index}
            onClick={() => {
              player.heard.value = index;
            }}
          >
            {version.name}
          </button>
        ))}
      </div>
      <p class="why">{matched ? <Matched /> : <Delivered page={page} />}</p>
      <Start page={page} />
      <p class="caution">
        It starts at a moderate level: set your volume then, and no louder than you need. Loud sound harms hearing.
      </p>
    </section>
  );
}

function Matched(): JSX.Element {
  return <>The louder of two versions nearly always seems the better one, so all play equally loud until you ask for the difference.</>;
}

/** How the versions lie apart, and what was done so that none of them is a shock. */
function Delivered({ page }: { page: Page }): JSX.Element {
  const { versions } = page.song;
  const loudest = versions.reduce((most, version) => (version.lufs > most.lufs ? version : most));
  const quietest = versions.reduce((least, version) => (version.lufs < least.lufs ? version : least));
  const lowered = -loudest.delivered_db;
  return (
    <>
      As delivered, {loudest.name} is {(loudest.lufs - quietest.lufs).toFixed(1)} dB louder than {quietest.name}.
      {lowered > 0 && <> All are turned down by {lowered.toFixed(1)} dB here, so that none jumps at you.</>}
    </>
  );
}

function Start({ page }: { page: Page }): JSX.Element {
  const { song, player } = page;
  const section = sectionAt(song, player.at.value);
  const loops = player.loop.value !== null;
  return (
    <p class="start">
      <button type="button" class="word play" aria-pressed={player.playing.value} onClick={() => player.toggle()}>
        {player.playing.value ? 'Pause' : 'Play'}
      </button>{' '}
      <span class="where">
        {clock(player.at.value)} of {clock(song.secs)}
        {section && <>, {section.name}</>}
        {player.waiting.value && <>, one moment</>}
      </span>
      {loops && (
        <>
          {', over and over. '}
          <button type="button" class="word plain" onClick={() => player.setLoop(null)}>
            Go on
          </button>
        </>
      )}
      {player.trouble.value !== null && (
        <span role="alert" class="trouble">
          {player.trouble.value}
        </span>
      )}
    </p>
  );
}
