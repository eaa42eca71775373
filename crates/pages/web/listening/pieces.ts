// The audio, piece by piece. Only pieces around the moment that is heard are kept decoded, so that a phone's memory holds.
import type { Song } from './song';

/** Pieces that stay decoded before and after the one that is heard. */
const KEPT_BEFORE = 1;
const KEPT_AFTER = 2;

declare global {
  /** Called by each file of audio beside the page. */
  var fairprintPiece: ((name: string, text: string) => void) | undefined;
}

/** Bytes of base64. */
export function bytesOf(text: string): ArrayBuffer {
  const binary = atob(text);
  const bytes = new Uint8Array(binary.length);
  for (let i = 0; i < binary.length; i += 1) bytes[i] = binary.charCodeAt(i);
  return bytes.buffer;
}

/** Gain of frame `at` of a piece that is heard from `from` to `to`: faded over `fade` frames where it meets another. */
export function fadeGain(at: number, from: number, to: number, fade: number, first: boolean, last: boolean): number {
  const rising = first ? 1 : (at + fade / 2 - from + 0.5) / fade;
  const falling = last ? 1 : (to + fade / 2 - at - 0.5) / fade;
  return Math.max(0, Math.min(1, rising, falling));
}

export class Pieces {
  readonly count: number;
  /** Frames by which a buffer reaches beyond its piece on either side. */
  readonly margin: number;
  private readonly ready = new Map<string, Promise<AudioBuffer>>();
  private readonly waiting = new Map<string, (text: string) => void>();

  constructor(private readonly song: Song) {
    this.count = Math.ceil(song.audio.frames / song.audio.piece_frames);
    this.margin = song.audio.fade_frames / 2;
    globalThis.fairprintPiece = (name, text) => this.waiting.get(name)?.(text);
  }

  /** One piece of every version. */
  async all(index: number): Promise<AudioBuffer[]> {
    this.forget(index);
    return Promise.all(this.song.versions.map((_version, version) => this.one(version, index)));
  }

  private one(version: number, index: number): Promise<AudioBuffer> {
    const name = `${version}-${index}`;
    const known = this.ready.get(name);
    if (known) return known;
    const coming = this.text(name).then((text) => this.decode(index, bytesOf(text)));
    this.ready.set(name, coming);
    coming.catch(() => this.ready.delete(name));
    return coming;
  }

  private forget(index: number): void {
    for (const name of this.ready.keys()) {
      const piece = Number(name.split('-')[1]);
      if (piece < index - KEPT_BEFORE || piece > index + KEPT_AFTER) this.ready.delete(name);
    }
  }

  private text(name: string): Promise<string> {
    if (this.song.audio.inside) {
      const text = document.getElementById(`piece-${name}`)?.textContent;
      return text ? Promise.resolve(text) : Promise.reject(new Error('The page is not whole: a piece of its audio is missing.'));
    }
    return new Promise((resolve, reject) => {
      const script = document.createElement('script');
      const done = (): void => {
        this.waiting.delete(name);
        script.remove();
      };
      this.waiting.set(name, (text) => {
        done();
        resolve(text);
      });
      script.addEventListener('error', () => {
        done();
        reject(new Error('The folder “audio” beside the page is missing or not whole. Keep it together with the page.'));
      });
      script.src = `audio/${name}.js`;
      document.head.append(script);
    });
  }

  /** The part of a piece that is heard, with its fades. */
  private async decode(index: number, bytes: ArrayBuffer): Promise<AudioBuffer> {
    const { rate_hz, frames, piece_frames, before_frames, fade_frames } = this.song.audio;
    const decoder = new OfflineAudioContext(2, 1, rate_hz);
    const whole = await decoder.decodeAudioData(bytes);
    const [from, to] = [index * piece_frames, Math.min(frames, (index + 1) * piece_frames)];
    const length = to - from + 2 * this.margin;
    const heard = decoder.createBuffer(2, length, rate_hz);
    const skip = before_frames - this.margin;
    for (const channel of [0, 1]) {
      const source = whole.getChannelData(Math.min(channel, whole.numberOfChannels - 1)).subarray(skip, skip + length);
      const target = heard.getChannelData(channel);
      target.set(source);
      this.fade(target, from, to, fade_frames);
    }
    return heard;
  }

  private fade(samples: Float32Array, from: number, to: number, fade: number): void {
    const [first, last] = [from === 0, to === this.song.audio.frames];
    for (let i = 0; i < fade; i += 1) {
      for (const at of [i, samples.length - 1 - i]) {
        samples[at] = (samples[at] ?? 0) * fadeGain(from - this.margin + at, from, to, fade, first, last);
      }
    }
  }
}
