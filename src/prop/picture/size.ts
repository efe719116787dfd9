import { Refusal } from '../../shared/errors.ts';
import { MAX_PICTURE_BYTES } from './name.ts';

/** Every viewer holds four bytes for each pixel. A phone's photo has 12 million. */
const MAX_SIDE = 10_000;
const MAX_PIXELS = 30_000_000;

/** @throws Refusal `picture.damaged`, `picture.too-many-pixels` */
export function checkSize(width: number, height: number): void {
  if (width < 1 || height < 1) throw damaged('it has no pixels');
  if (width <= MAX_SIDE && height <= MAX_SIDE && width * height <= MAX_PIXELS) return;
  throw new Refusal(
    'picture.too-many-pixels',
    `the picture is ${width} x ${height} pixels; at most ${MAX_SIDE} on a side and ${MAX_PIXELS / 1e6} million in all are shown. Make it smaller, 2000 pixels wide is plenty`,
    { width, height, limitPixels: MAX_PIXELS },
  );
}

/** The refusal of a damaged picture. @param what is wrong with it */
export function damaged(what: string): Refusal {
  return new Refusal(
    'picture.damaged',
    `the picture is damaged or cut short: ${what}; save it again, or choose another`,
  );
}

/** The refusal of a picture that takes too many bytes. */
export function tooLarge(bytes: number): Refusal {
  const mb = (bytes / 1024 / 1024).toFixed(1);
  return new Refusal(
    'picture.too-large',
    `the picture has ${mb} MB, and at most ${MAX_PICTURE_BYTES / 1024 / 1024} are kept; make it smaller, 2000 pixels wide is plenty`,
    { bytes, limitBytes: MAX_PICTURE_BYTES },
  );
}
