// What is heard of the network, and what that leaves silent. None of it reaches a print.
import type { Ear, Node } from './protocol.ts';

const toggled = (names: readonly string[], name: string): string[] =>
  names.includes(name) ? names.filter((other) => other !== name) : [...names, name];

/** Alone or not. What is heard alone is not silent as well. */
export function alone(ear: Ear, name: string): Ear {
  return { ...ear, alone: toggled(ear.alone, name), silent: ear.silent.filter((other) => other !== name) };
}

/** Silent or not. */
export function silent(ear: Ear, name: string): Ear {
  return { ...ear, silent: toggled(ear.silent, name), alone: ear.alone.filter((other) => other !== name) };
}

/** With a processor or without it. */
export function without(ear: Ear, name: string, at: number): Ear {
  const is = ([node, place]: [string, number]): boolean => node === name && place === at;
  return { ...ear, without: ear.without.some(is) ? ear.without.filter((each) => !is(each)) : [...ear.without, [name, at]] };
}

/** Everything heard again. */
export const ALL: Ear = { alone: [], silent: [], without: [] };

/** What sounds while some are heard alone: these, all that flows into them, and all that they flow into. */
export function sounding(nodes: readonly Node[], ear: Ear): ReadonlySet<string> {
  const all = new Set(nodes.map((node) => node.name));
  if (ear.alone.length === 0) return all;
  const onward = new Map(nodes.map((node) => [node.name, [...(node.to === null ? [] : [node.to]), ...node.sends]]));
  const back = new Map<string, string[]>();
  for (const [from, tos] of onward) for (const to of tos) back.set(to, [...(back.get(to) ?? []), from]);
  return new Set([...reached(ear.alone, onward), ...reached(ear.alone, back)]);
}

function reached(from: readonly string[], ways: ReadonlyMap<string, string[]>): Set<string> {
  const found = new Set(from);
  for (const name of found) for (const next of ways.get(name) ?? []) found.add(next);
  return found;
}
