import { describe, expect, it } from 'vitest';
import { bytesOf, fadeGain } from './pieces';
import { outline, rows } from './Strip';
import { clock, day, letter, moment } from './time';

describe('times', () => {
  it('read as minutes and seconds', () => {
    expect([clock(0), clock(41.9), clock(61), clock(-3)]).toEqual(['0:00', '0:41', '1:01', '0:00']);
    expect([clock(59.96, true), clock(3.24, true)]).toEqual(['1:00.0', '0:03.2']);
    expect([moment(41, null), moment(41, 48)]).toEqual(['0:41', '0:41 to 0:48']);
    expect([day('2026-11-27 12:49:01 UTC'), day('soon')]).toEqual(['27 November 2026', 'soon']);
  });

  it('letters go on after Z', () => {
    expect([0, 25, 26, 51, 52, 702].map(letter)).toEqual(['A', 'Z', 'AA', 'AZ', 'BA', 'AAA']);
  });
});

describe('pieces', () => {
  it('give way to each other without a change of level', () => {
    for (let at = 900; at < 1100; at += 1) {
      const [one, other] = [fadeGain(at, 0, 1000, 128, true, false), fadeGain(at, 1000, 2000, 128, false, true)];
      expect(one + other).toBeCloseTo(1, 12);
    }
    expect(fadeGain(0, 0, 1000, 128, true, false)).toBe(1);
    expect(fadeGain(1999, 1000, 2000, 128, false, true)).toBe(1);
  });

  it('come out of their text as they went in', () => {
    expect([...new Uint8Array(bytesOf('AP+A'))]).toEqual([0, 255, 128]);
  });
});

describe('the strip', () => {
  it('stands letters that are close in rows', () => {
    expect(rows([0.1, 0.11, 0.13, 0.14, 0.5], 0.02)).toEqual([0, 1, 0, 1, 0]);
    expect(rows([], 0.02)).toEqual([]);
  });

  it('draws hills on a line', () => {
    expect(outline([0, 255, 0])).toBe('M0 100L0.0 100.0L500.0 0.0L1000.0 100.0L1000 100Z');
  });
});
