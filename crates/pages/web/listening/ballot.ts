// A blind ballot. Which letter is which version is drawn when a round starts, by the browser's own random source, and is
// kept in this object alone: neither the page's text nor its elements, its storage or its file say it before the vote.
import type { Ballot, Round } from './notes';

export type Loudness = Round['loudness'];

/** A preference counts if chance favours one of the versions so clearly in at most so many of all ballots. */
const CHANCE = 0.05;

/** Probability of at least `least` hits in `rounds` choices among `of` equal things: the exact binomial tail. */
export function binomialTail(rounds: number, least: number, of: number): number {
  const p = 1 / of;
  let tail = 0;
  let term = (1 - p) ** rounds;
  for (let k = 0; k <= rounds; k += 1) {
    if (k >= least) tail += term;
    term *= ((rounds - k) / (k + 1)) * (p / (1 - p));
  }
  return Math.min(1, tail);
}

export type Count = {
  rounds: number;
  chosen: [string, number][];
  favourite: string | null;
  probability: number | null;
  preferred: boolean;
};

export function countOf(ballot: Pick<Ballot, 'versions' | 'rounds'>, loudness: Loudness): Count {
  const rounds = ballot.rounds.filter((round) => round.loudness === loudness);
  const times = (version: string): number => rounds.filter((round) => round.chose === version).length;
  const chosen = ballot.versions.map((version): [string, number] => [version, times(version)]);
  const most = Math.max(...chosen.map(([, count]) => count));
  const best = chosen.filter(([, count]) => count === most && most > 0);
  const favourite = best.length === 1 ? best[0]![0] : null;
  const probability = favourite === null ? null : binomialTail(rounds.length, most, chosen.length);
  return { rounds: rounds.length, chosen, favourite, probability, preferred: (probability ?? 1) * chosen.length <= CHANCE };
}

/** What a ballot says, in sentences. */
export function sentences(ballot: Pick<Ballot, 'versions' | 'rounds'>): string[] {
  const [matched, delivered] = [countOf(ballot, 'matched'), countOf(ballot, 'delivered')];
  const lines = [sentence('At the same loudness', matched), sentence('As delivered', delivered)].filter((line) => line !== '');
  if (delivered.preferred) {
    const outlives = matched.preferred && matched.favourite === delivered.favourite;
    lines.push(outlives ? 'The preference outlives the same loudness.' : 'The preference was for loudness: at the same loudness it is gone.');
  }
  return lines;
}

function sentence(how: string, count: Count): string {
  if (count.rounds === 0) return '';
  const times = count.chosen.map(([version, chosen]) => `${version} ${chosen}`).join(', ');
  if (count.favourite === null || count.probability === null) return `${how}, of ${count.rounds} rounds: ${times}. No preference.`;
  const chance = (100 * count.probability).toFixed(1);
  const verdict = count.preferred ? 'That is a preference.' : 'That is no clear preference.';
  return `${how}, of ${count.rounds} rounds: ${times}. Chance alone chooses ${count.favourite} as often in ${chance} of 100 ballots. ${verdict}`;
}

/** A fair order of so many things: each of all orders as likely as any other. */
export function shuffled(count: number, random: (below: number) => number = fairly): number[] {
  const order = Array.from({ length: count }, (_, i) => i);
  for (let i = count - 1; i > 0; i -= 1) {
    const j = random(i + 1);
    [order[i], order[j]] = [order[j]!, order[i]!];
  }
  return order;
}

/** A random whole number below another, without favouring any. */
function fairly(below: number): number {
  const most = 256 - (256 % below);
  for (;;) {
    const drawn = crypto.getRandomValues(new Uint8Array(1))[0]!;
    if (drawn < most) return drawn % below;
  }
}
