import { describe, expect, it } from 'vitest';
import { drawn, type NumberTakes, stepped } from './steps.ts';

const level: NumberTakes = { kind: 'number', value: -13, unit: 'dB', low: -120, high: 24, rest: 0, by_ratio: false };
const hz: NumberTakes = { kind: 'number', value: 1000, unit: 'Hz', low: 20, high: 20_000, rest: 1000, by_ratio: true };

describe('levels', () => {
  it('go by half a decibel, a tenth, or three', () => {
    expect(stepped(level, -13, 1, 'step')).toBe(-12.5);
    expect(stepped(level, -13, -1, 'fine')).toBe(-13.1);
    expect(stepped(level, -13, 1, 'wide')).toBe(-9);
  });

  it('land on round figures and stay in range', () => {
    expect(stepped(level, -12.87, 1, 'step')).toBe(-12.5);
    expect(stepped(level, 23.9, 1, 'wide')).toBe(24);
    expect(stepped(level, -120, -1, 'step')).toBe(-120);
  });
});

describe('what goes by ratio', () => {
  it('goes by a twelfth of an octave: twelve steps double it', () => {
    let value = 1000;
    for (let i = 0; i < 12; i += 1) value = stepped(hz, value, 1, 'step');
    expect(value).toBe(2000);
  });

  it('always moves, and there and back is where it was', () => {
    for (const from of [20.5, 75, 440, 9000]) {
      expect(stepped(hz, from, 1, 'fine')).toBeGreaterThan(from);
      const up = stepped(hz, from, 1, 'step');
      expect(stepped(hz, stepped(hz, up, 1, 'step'), -1, 'step')).toBe(up);
    }
    expect(stepped(hz, 20_000, 1, 'wide')).toBe(20_000);
  });
});

it('steps from off to the lowest rung and back', () => {
  const low: NumberTakes = { kind: 'number', value: 0, unit: 'Hz', low: 0, high: 500, rest: 0, by_ratio: true };
  expect(stepped(low, 0, 1, 'step')).toBe(10);
  expect(stepped(low, 10, -1, 'step')).toBe(0);
  expect(stepped(low, 11, -4, 'step')).toBe(10);
});

it('gives every other number some fifty steps over its range', () => {
  const ratio: NumberTakes = { kind: 'number', value: 4, unit: '', low: 1, high: 100, rest: 4, by_ratio: false };
  expect(stepped(ratio, 4, 1, 'step')).toBe(6);
  expect(stepped(ratio, 4, 1, 'fine')).toBe(4.2);
});

it('follows the hand: up is more, eight pixels are a step', () => {
  expect(drawn(level, -13, 7, false)).toBe(-13);
  expect(drawn(level, -13, 16, false)).toBe(-12);
  expect(drawn(level, -13, -16, true)).toBe(-13.2);
});
