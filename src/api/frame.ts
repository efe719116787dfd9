import { FRAME_LIMIT_BYTES } from './limits.ts';

/** What stands around a text in its frame, at most (bytes). */
const AROUND_BYTES = 512;

/** Whether a text, such as a prop file, can be sent to the daemon in one frame. */
export function fitsFrame(text: string): boolean {
  const bytes = new TextEncoder().encode(JSON.stringify(text)).length;
  return bytes <= FRAME_LIMIT_BYTES - AROUND_BYTES;
}
