// Holds the line on which sound comes, off the page's thread: whatever the page draws, sound does not wait for it.
import type { Brought, Opened, Wanted } from './messages.ts';
import { unpack } from './unpack.ts';

const AGAIN_MS = 1000;

function hold({ address, worklet }: Opened): void {
  const socket = new WebSocket(address);
  socket.binaryType = 'arraybuffer';
  socket.onopen = () => worklet.postMessage('reconnected' satisfies Brought);
  socket.onmessage = ({ data }: MessageEvent<ArrayBuffer>) => {
    const block = unpack(data);
    if (block) worklet.postMessage(block satisfies Brought, [block.pcm.buffer]);
  };
  socket.onclose = () => setTimeout(() => hold({ address, worklet }), AGAIN_MS);
  worklet.onmessage = ({ data }: MessageEvent<Wanted>) => {
    if (socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ frames: data }));
  };
}

self.onmessage = ({ data }: MessageEvent<Opened>) => hold(data);
