/** Sounds are kept, mixed and played at this rate (Hz): that of nearly all sound chips. */
export const PLAYED_HZ = 48_000;
/** Rates of files that are played (Hz). */
export const MIN_HZ = 4000;
export const MAX_HZ = 192_000;
/** A sound file may have at most this many bytes. */
export const MAX_SOUND_BYTES = 20_000_000;
/** The longest sound (s), and all sounds of a prop together: a minute in two channels takes 11.5 MB of memory. */
export const MAX_SOUND_S = 120;
export const MAX_SOUNDS_S = 240;
/** The name of a sound file beside the prop file: no folder, no hidden file. */
export const SOUND_NAME = /^[A-Za-z0-9_][\w .-]{0,80}\.(wav|flac|ogg|mp3)$/i;
