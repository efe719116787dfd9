import { Refusal } from '../../shared/errors.ts';
import { isJpeg, safeJpeg } from './jpeg.ts';
import { MAX_PICTURE_BYTES } from './name.ts';
import { isPng, safePng } from './png.ts';
import type { SafePicture } from './safe-picture.ts';
import { tooLarge } from './size.ts';

/**
 * Looks at the bytes of a picture, whatever its name says, and puts it together again from its safe parts:
 * no script, no reference to elsewhere, no place or time where a photo was taken.
 * @throws Refusal `picture.too-large`, `picture.not-a-picture`, `picture.damaged`,
 *   `picture.too-many-pixels`, `picture.unsafe`
 */
export async function safePicture(bytes: Uint8Array): Promise<SafePicture> {
  if (bytes.length > MAX_PICTURE_BYTES) throw tooLarge(bytes.length);
  if (isPng(bytes)) return safePng(bytes);
  if (isJpeg(bytes)) return safeJpeg(bytes);
  if (/^(?:\xEF\xBB\xBF)?\s*</.test(Buffer.from(bytes.subarray(0, 256)).toString('latin1'))) {
    // The parser is loaded only for a drawing.
    const { safeSvg } = await import('./svg.ts');
    return safeSvg(bytes);
  }
  throw new Refusal(
    'picture.not-a-picture',
    'this is not a picture that Sinew knows, whatever its name says; save it as PNG, JPEG or plain SVG',
  );
}
