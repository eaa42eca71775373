// A number that stands in a sentence with its unit: typed, stepped with the arrows or the wheel, or drawn up and down.
import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { letGo } from '../edits.ts';
import { clamped, drawn, type NumberTakes, type Size, stepped } from '../steps.ts';
import { amount, typed } from '../words.ts';

type Shown = {
  label: string;
  /** What it does to the sound. */
  about: string;
  takes: NumberTakes;
  onChange: (value: number) => void;
  disabled?: boolean;
};

/** A press that moves less is a click into the text. */
const SLACK_PX = 4;

const STEPS: Record<string, [number, Size]> = {
  ArrowUp: [1, 'step'],
  ArrowDown: [-1, 'step'],
  PageUp: [1, 'wide'],
  PageDown: [-1, 'wide'],
};

export function NumberWord({ label, about, takes, onChange, disabled = false }: Shown): JSX.Element {
  const input = useRef<HTMLInputElement>(null);
  const [draft, setDraft] = useState<string | null>(null);
  // What was asked for last: the sheet answers a moment later, and steps must not start from an old value meanwhile.
  const latest = useRef(takes.value);
  latest.current = takes.value;
  const to = (value: number): void => {
    if (value === latest.current) return;
    latest.current = value;
    setDraft(null);
    onChange(value);
  };
  const keys = (event: KeyboardEvent): void => {
    const step = STEPS[event.key];
    if (step && !event.ctrlKey && !event.altKey) {
      event.preventDefault();
      to(stepped(takes, latest.current, step[0], event.shiftKey ? 'fine' : step[1]));
    } else if (event.key === 'Enter') {
      take();
    } else if (event.key === 'Escape' && draft !== null) {
      event.stopPropagation();
      setDraft(null);
    }
  };
  const take = (): void => {
    const value = draft === null ? null : typed(draft, takes.unit);
    setDraft(null);
    if (value !== null) to(clamped(takes, value));
  };
  useWheel(input, (steps, fine) => to(stepped(takes, latest.current, steps, fine ? 'fine' : 'step')));
  const text = draft ?? amount(takes.value, takes.unit);
  return (
    <input
      ref={input}
      class="word number"
      type="text"
      inputMode="decimal"
      autocomplete="off"
      spellcheck={false}
      role="spinbutton"
      aria-label={label}
      aria-valuemin={takes.low}
      aria-valuemax={takes.high}
      aria-valuenow={takes.value}
      aria-valuetext={amount(takes.value, takes.unit)}
      title={`${about} ${amount(takes.low, takes.unit)} to ${amount(takes.high, takes.unit)}.`.trim()}
      disabled={disabled}
      value={text}
      size={Math.max(2, text.length)}
      onInput={(event) => setDraft(event.currentTarget.value)}
      onFocus={(event) => event.currentTarget.select()}
      onBlur={() => {
        take();
        letGo();
      }}
      onKeyDown={keys}
      onPointerDown={(event) => drawUpAndDown(event, takes, to)}
    />
  );
}

/** Steps with the wheel, once the number has the keyboard: the page stays still then, and only then. */
function useWheel(input: { current: HTMLInputElement | null }, step: (steps: number, fine: boolean) => void): void {
  const latest = useRef(step);
  latest.current = step;
  useEffect(() => {
    const element = input.current;
    const turned = (event: WheelEvent): void => {
      if (document.activeElement !== element || event.deltaY === 0) return;
      event.preventDefault();
      latest.current(event.deltaY < 0 ? 1 : -1, event.shiftKey);
    };
    element?.addEventListener('wheel', turned, { passive: false });
    return () => element?.removeEventListener('wheel', turned);
  }, [input]);
}

function drawUpAndDown(event: PointerEvent, takes: NumberTakes, to: (value: number) => void): void {
  const element = event.currentTarget as HTMLInputElement;
  if (event.button !== 0 || element.disabled) return;
  const [from, startY] = [takes.value, event.clientY];
  let drawing = false;
  const moved = (move: PointerEvent): void => {
    const up = startY - move.clientY;
    if (!drawing && Math.abs(up) < SLACK_PX) return;
    if (!drawing) {
      drawing = true;
      element.setPointerCapture(event.pointerId);
      element.classList.add('drawn');
      letGo();
    }
    move.preventDefault();
    to(drawn(takes, from, up, move.shiftKey));
  };
  const done = (): void => {
    element.classList.remove('drawn');
    removeEventListener('pointermove', moved);
    removeEventListener('pointerup', done);
    removeEventListener('pointercancel', done);
    if (drawing) letGo();
  };
  addEventListener('pointermove', moved);
  addEventListener('pointerup', done);
  addEventListener('pointercancel', done);
}
