// Controls that stand in a sentence as its words.
import type { JSX } from 'preact';

type Choices = {
  /** What is chosen here, for those who hear the page. */
  label: string;
  value: string;
  choices: readonly { value: string; text: string }[];
  onChoose: (value: string) => void;
};

/** A word that is one of several. */
export function Choice({ label, value, choices, onChoose }: Choices): JSX.Element {
  return (
    <select class="word" aria-label={label} value={value} onChange={(event) => onChoose(event.currentTarget.value)}>
      {choices.map((choice) => (
        <option key={choice.value} value={choice.value}>
          {choice.text}
        </option>
      ))}
    </select>
  );
}

type Amounts = {
  label: string;
  value: number;
  min: number;
  max: number;
  step: number;
  onChange: (value: number) => void;
};

/** A number in the sentence; what is typed counts once it lies in range. */
export function Amount({ label, value, min, max, step, onChange }: Amounts): JSX.Element {
  const take = (event: JSX.TargetedEvent<HTMLInputElement>): void => {
    const typed = event.currentTarget.valueAsNumber;
    if (Number.isFinite(typed) && typed >= min && typed <= max) onChange(typed);
  };
  return (
    <input class="word" type="number" aria-label={label} value={value} min={min} max={max} step={step} onChange={take} />
  );
}
