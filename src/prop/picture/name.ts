/** The plain name of a picture beside the prop file: no folder, a known ending. */
export const PICTURE_NAME =
  /^[A-Za-z0-9_][A-Za-z0-9_ .-]{0,79}\.(?:png|jpg|jpeg|svg|PNG|JPG|JPEG|SVG)$/;

/** What a picture may take (bytes). */
export const MAX_PICTURE_BYTES = 5 * 1024 * 1024;
