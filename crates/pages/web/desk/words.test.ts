import { expect, it } from 'vitest';
import { amount, figure, listed, place, steady, typed, typedPlace, typeset } from './words.ts';

it('writes values as the recall document does', () => {
  expect(amount(-4, 'dB')).toBe('−4 dB');
  expect(amount(6500, 'Hz')).toBe('6.5 kHz');
  expect(amount(0.4, 'ms')).toBe('0.4 ms');
  expect(amount(60, '%')).toBe('60%');
  expect(amount(0.8333, '')).toBe('0.833');
  expect(figure(-0.04, 1)).toBe('0');
  expect(steady(-0.04, 1)).toBe('0.0');
});

it('reads back what it writes', () => {
  for (const [value, unit] of [[-4, 'dB'], [6500, 'Hz'], [0.4, 'ms'], [60, '%'], [0.25, ''], [24, 'dB/octave']] as const) {
    expect(typed(amount(value, unit), unit)).toBeCloseTo(value, 9);
  }
});

it('reads what people type, and nothing else', () => {
  expect(typed(' -12,5 ', 'dB')).toBe(-12.5);
  expect(typed('2k', 'Hz')).toBe(2000);
  expect(typed('1.2 s', 'ms')).toBe(1200);
  expect(typed('+3d', 'dB')).toBe(3);
  for (const wrong of ['', 'loud', '3 ms', '--3', '1.2.3']) expect(typed(wrong, 'dB')).toBeNull();
});

it('writes and reads places', () => {
  expect(place(64.34)).toBe('1:04');
  expect(place(64.34, 1)).toBe('1:04.3');
  expect(place(59.97, 1)).toBe('1:00.0');
  expect(typedPlace('1:04.3')).toBeCloseTo(64.3);
  expect(typedPlace('7')).toBe(7);
  expect(typedPlace('chorus')).toBeNull();
});

it('sets minus signs', () => {
  expect(typeset('at -2.7 dB (-100 dB is off), 12-bar')).toBe('at −2.7 dB (−100 dB is off), 12-bar');
});

it('lists names', () => {
  expect(listed(['a', 'b', 'c'])).toBe('a, b and c');
  expect(listed(['a'])).toBe('a');
});
