// Every colour of both themes is held to the contrast that WCAG 2.2 AA asks for, and the three roles to being told apart.
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';

type Colours = Record<string, string>;
type Triple = [number, number, number];

const css = readFileSync(new URL('ink.css', import.meta.url), 'utf8');

/** The colours of one side of `light-dark(day, night)`. */
function theme(side: 1 | 2): Colours {
  const named = css.matchAll(/--([a-z]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\);/g);
  return Object.fromEntries([...named].map((found) => [found[1], found[side + 1]]));
}

const themes = { day: theme(1), night: theme(2) };

/** Linear light of a colour (IEC 61966-2-1; WCAG 2.2, "relative luminance"). */
function linear(hex: string): Triple {
  const part = (at: number): number => {
    const value = Number.parseInt(hex.slice(at, at + 2), 16) / 255;
    return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
  };
  return [part(1), part(3), part(5)];
}

const luminance = ([r, g, b]: Triple): number => 0.2126 * r + 0.7152 * g + 0.0722 * b;

/** Contrast ratio, 1 to 21 (WCAG 2.2). */
function contrast(a: string, b: string): number {
  const [dark, light] = [luminance(linear(a)), luminance(linear(b))].toSorted((x, y) => x - y) as [number, number];
  return (light + 0.05) / (dark + 0.05);
}

/** Full colour blindness of each kind, on linear light (Machado, Oliveira and Fernandes 2009; figures from memory, rows add up to 1). */
const BLIND: Record<string, [Triple, Triple, Triple]> = {
  none: [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
  protan: [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  deutan: [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
  tritan: [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
};

const dot = (a: Triple, b: Triple): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

const lightness = (t: number): number => (t > (6 / 29) ** 3 ? Math.cbrt(t) : t / (3 * (6 / 29) ** 2) + 4 / 29);

/** CIELAB under D65 (ISO/CIE 11664-4). */
function lab(rgb: Triple): Triple {
  const white: Triple = [0.95047, 1, 1.08883];
  const rows: [Triple, Triple, Triple] = [
    [0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.072175], [0.0193339, 0.119192, 0.9503041],
  ];
  const [x, y, z] = rows.map((row, i) => lightness(Math.max(0, dot(row, rgb)) / white[i]!)) as Triple;
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
}

/** How far apart two colours look (CIE 1976). */
function apart(a: string, b: string, blind: string): number {
  const seen = (hex: string): Triple => lab(BLIND[blind]!.map((row) => dot(row, linear(hex))) as Triple);
  const [p, q] = [seen(a), seen(b)];
  return Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]);
}

it('knows the contrast of black on white and of the standard’s grey', () => {
  expect(contrast('#000000', '#ffffff')).toBeCloseTo(21, 10);
  // #767676 on white is the lightest grey that passes 4.5:1 (WCAG, widely published).
  expect(contrast('#767676', '#ffffff')).toBeGreaterThanOrEqual(4.5);
  expect(contrast('#777777', '#ffffff')).toBeLessThan(4.5);
});

describe.each(Object.entries(themes))('%s', (_name, colours) => {
  const of = (name: string): string => colours[name] ?? 'none';

  it.each(['ink', 'soft', 'source', 'return', 'print'])('%s can be read on both papers', (name) => {
    expect(contrast(of(name), of('paper'))).toBeGreaterThanOrEqual(4.5);
    expect(contrast(of(name), of('raised'))).toBeGreaterThanOrEqual(4.5);
  });

  it('lines that mark a control can be seen', () => {
    expect(contrast(of('line'), of('paper'))).toBeGreaterThanOrEqual(3);
  });

  it.each(Object.keys(BLIND))('the roles look apart (%s)', (blind) => {
    const roles = ['source', 'return', 'print'].map(of);
    for (const [i, one] of roles.entries()) {
      for (const other of roles.slice(i + 1)) expect(apart(one, other, blind)).toBeGreaterThan(12);
    }
  });
});
