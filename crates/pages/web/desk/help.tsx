// The list of keys, and the caution on listening.
import type { JSX } from 'preact';
import { useSignalEffect } from '@preact/signals';
import { useRef } from 'preact/hooks';
import { Exposure } from './exposure.tsx';
import { BLIND_KEYS, helpOpen, KEYS, OTHERS } from './keys.ts';
import { singleKeys } from './settings.ts';

export function Help(): JSX.Element {
  const dialog = useRef<HTMLDialogElement>(null);
  const heading = useRef<HTMLHeadingElement>(null);
  useSignalEffect(() => {
    if (!helpOpen.value) {
      dialog.current?.close();
      return;
    }
    dialog.current?.showModal();
    // By itself the first control would have it, which stands at the end: the list would open there.
    heading.current?.focus();
  });
  return (
    <dialog ref={dialog} aria-label="Keys" onClose={() => (helpOpen.value = false)}>
      <h2 ref={heading} tabIndex={-1}>
        Keys
      </h2>
      <dl class="keys">
        {[...KEYS, ...BLIND_KEYS].map(({ shown, words }) => (
          <Line key={shown} shown={shown} words={words} />
        ))}
        {OTHERS.map(([shown, words]) => (
          <Line key={shown} shown={shown} words={words} />
        ))}
      </dl>
      <p>
        <label>
          <input type="checkbox" checked={singleKeys.value} onChange={(event) => (singleKeys.value = event.currentTarget.checked)} /> Single
          keys do something (turn them off for speech input)
        </label>
      </p>
      <button type="button" class="word" onClick={() => (helpOpen.value = false)}>
        Back to the song
      </button>
    </dialog>
  );
}

function Line({ shown, words }: { shown: string; words: string }): JSX.Element {
  return (
    <div>
      <dt>
        <kbd>{shown}</kbd>
      </dt>
      <dd>{words}</dd>
    </div>
  );
}

export function Caution(): JSX.Element {
  return (
    <footer class="caution">
      <p>
        The desk starts quiet, at −18 dB, and holds back what would be too loud, but it cannot know how loud your room is. Turn the amplifier
        down before you begin, keep near 80 dBA, and rest your ears for a quarter of an hour every two hours. Ringing or dullness means: stop
        for today.
      </p>
      <Exposure />
    </footer>
  );
}
