import { signal } from '@preact/signals';
import { call } from './link.ts';
import { nameFor } from './picture-name.ts';
import { sendParts } from './send-parts.ts';

/** Photos larger than this (bytes, or pixels on a side) are made smaller before they are sent. */
const LARGE_BYTES = 2 * 1024 * 1024;
const LARGE_SIDE = 2400;
const JPEG_QUALITY = 0.85;

/** How much of a picture has been sent, from 0 to 1; undefined while none is. */
export const sent = signal<number | undefined>(undefined);

/**
 * Sends a picture to the daemon.
 * @returns its name beside the prop file, and what was not kept of it
 * @throws what the daemon refuses, LinkGone
 */
export async function sendPicture(file: File): Promise<{ file: string; leftOut: string[] }> {
  sent.value = 0;
  try {
    const picture = await smallEnough(file);
    const bytes = new Uint8Array(await picture.arrayBuffer());
    const name = nameFor(file.name, picture.type);
    const begun = await call('picture.begin', { name, bytes: bytes.length });
    try {
      await sendParts('picture.part', begun, bytes, (share) => {
        sent.value = share;
      });
      return await call('picture.end', { upload: begun.upload });
    } catch (error) {
      // The next one need not wait until this one is too old.
      void call('picture.cancel', {}).catch(() => undefined);
      throw error;
    }
  } finally {
    sent.value = undefined;
  }
}

/** A photo of a phone is far larger than a screen shows: it is drawn again, the right way up. */
async function smallEnough(file: File): Promise<Blob> {
  if (!/^image\/(?:jpeg|png|webp|heic|avif)$/.test(file.type)) return file;
  let image: ImageBitmap;
  try {
    image = await createImageBitmap(file);
  } catch {
    // The daemon says what is wrong with it.
    return file;
  }
  const { width, height } = image;
  const scale = Math.min(1, LARGE_SIDE / Math.max(width, height));
  const isKept = /^image\/(?:jpeg|png)$/.test(file.type);
  if (isKept && scale === 1 && file.size <= LARGE_BYTES) return file;
  const canvas = document.createElement('canvas');
  canvas.width = Math.max(1, Math.round(width * scale));
  canvas.height = Math.max(1, Math.round(height * scale));
  canvas.getContext('2d')!.drawImage(image, 0, 0, canvas.width, canvas.height);
  image.close();
  const drawn = await new Promise<Blob | null>((resolve) =>
    canvas.toBlob(resolve, 'image/jpeg', JPEG_QUALITY),
  );
  return drawn ?? file;
}
