// The figure of a processor as it is set, drawn by the desk from the processor itself.
import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { pictures } from '../settings.ts';

/** A figure is asked for once the hand has rested this long. */
const REST_MS = 150;

export function Figure({ address, title }: { address: string; title: string }): JSX.Element | null {
  const [settled, settle] = useState(address);
  useEffect(() => {
    const timer = setTimeout(() => settle(address), REST_MS);
    return () => clearTimeout(timer);
  }, [address]);
  if (!pictures.value) return null;
  return <img class="figure" src={settled} alt={`What the ${title} does as it is set`} loading="lazy" />;
}
