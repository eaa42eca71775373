// Holds the line on which sound comes, off the page's thread: whatever the page draws, sound does not wait for it.
import type { Brought, Opened, Wanted } from './messages.ts';
import { unpack } from './unpack.ts';

let socket: WebSocket | null = null;

function hold({ address, worklet }: Opened): void {
  if (socket && socket.readyState <= WebSocket.OPEN) return;
  const line = new WebSocket(address);
  socket = line;
  line.binaryType = 'arraybuffer';
  line.onopen = () => worklet.postMessage('reconnected' satisfies Brought);
  line.onmessage = ({ data }: MessageEvent<ArrayBuffer>) => {
    const block = unpack(data);
    if (block) worklet.postMessage(block satisfies Brought, [block.pcm.buffer]);
  };
  worklet.onmessage = ({ data }: MessageEvent<Wanted>) => {
    if (line.readyState === WebSocket.OPEN) line.send(JSON.stringify({ frames: data }));
  };
}

let opened: Opened | null = null;

// The desk lets one page listen, the last that asked. So a line that was closed is opened again only when the person plays.
self.onmessage = ({ data }: MessageEvent<Opened | 'again'>) => {
  if (data !== 'again') opened = data;
  if (opened) hold(opened);
};
