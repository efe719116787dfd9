export type PictureType = 'png' | 'jpeg' | 'svg';

/** The ending of the file's name. */
export const ENDINGS: Record<PictureType, string> = { png: 'png', jpeg: 'jpg', svg: 'svg' };

/** A picture that was taken apart and put together again from what is known to be safe. */
export interface SafePicture {
  type: PictureType;
  bytes: Uint8Array;
  /** As it is shown (pixels); of a drawing only their ratio counts. */
  width: number;
  height: number;
  /** What was in the file and is not in this, in words. */
  leftOut: string[];
}
