import { call } from './link.ts';

/** What `String.fromCharCode` takes at once in every browser. */
const PIECE = 8192;

/**
 * Sends bytes to the daemon in parts.
 * @param method the one that takes a part
 * @param onPart gets the share that has been sent, 0 to 1
 * @throws what the daemon refuses, LinkGone
 */
export async function sendParts(
  method: 'picture.part' | 'sound.part',
  { upload, partBytes }: { upload: number; partBytes: number },
  bytes: Uint8Array,
  onPart: (share: number) => void,
): Promise<void> {
  for (let at = 0; at < bytes.length; at += partBytes) {
    const data = base64(bytes.subarray(at, at + partBytes));
    const { received } = await call(method, { upload, at, data });
    onPart(received / bytes.length);
  }
}

function base64(bytes: Uint8Array): string {
  let text = '';
  for (let at = 0; at < bytes.length; at += PIECE)
    text += String.fromCharCode(...bytes.subarray(at, at + PIECE));
  return btoa(text);
}
