import { describe, expect, it } from 'vitest';
import { binomialTail, countOf, sentences, shuffled } from './ballot';
import type { Round } from './notes';

const versions = ['loud', 'clean'];
const rounds = (loudness: Round['loudness'], loud: number, clean: number): Round[] =>
  [...Array<string>(loud).fill('loud'), ...Array<string>(clean).fill('clean')].map((chose) => ({ loudness, order: versions, chose }));

describe('the binomial tail', () => {
  // One-sided sign test, p = 1/2, from memory of printed tables of four places; `ballot.rs` holds the same against SciPy.
  it.each([
    [5, 5, 0.0312],
    [8, 7, 0.0352],
    [10, 8, 0.0547],
    [20, 15, 0.0207],
  ])('of %i rounds with %i hits is as printed', (all, hits, printed) => {
    expect(Math.abs(binomialTail(all, hits, 2) - printed)).toBeLessThan(0.6e-4);
  });

  it('agrees with exact fractions', () => {
    expect(binomialTail(4, 3, 3)).toBeCloseTo(9 / 81, 14);
    expect(binomialTail(0, 0, 2)).toBe(1);
  });
});

it('says when a preference was for loudness', () => {
  const held = { versions, rounds: [...rounds('matched', 4, 4), ...rounds('delivered', 8, 0)] };
  expect(countOf(held, 'matched').favourite).toBeNull();
  expect(countOf(held, 'delivered').preferred).toBe(true);
  expect(sentences(held).at(-1)).toMatch(/was for loudness/);
  expect(sentences({ versions, rounds: [...rounds('matched', 8, 0), ...rounds('delivered', 8, 0)] }).at(-1)).toMatch(/outlives/);
});

it('draws every order as often as any other', () => {
  const seen = new Map<string, number>();
  for (let i = 0; i < 6000; i += 1) {
    const order = shuffled(3).join('');
    seen.set(order, (seen.get(order) ?? 0) + 1);
  }
  expect(seen.size).toBe(6);
  // Six classes of 1000: chi-squared with 5 degrees of freedom passes 33.1 once in 250,000 (from memory of the table).
  const chi = [...seen.values()].reduce((sum, count) => sum + (count - 1000) ** 2 / 1000, 0);
  expect(chi).toBeLessThan(33.1);
});
