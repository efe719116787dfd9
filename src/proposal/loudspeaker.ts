import { type Board, DRIVER_NAMES, factsOf, setUpOf } from '../boards/registry.ts';

/** What is proposed for a loudspeaker, in a new prop and in one that has other parts already. */

const SOUND_CARD = DRIVER_NAMES.find((driver) => factsOf({ driver }).sounds)!;

/** What the board of a sound card is called. */
export const SPEAKER = 'speaker';

/** The entry of a sound card under `boards:`. */
export function soundCard(): Partial<Board> & { driver: string } {
  return setUpOf(SOUND_CARD).entry(0, 'PWM');
}

/** Why it is this sound card. */
export const CARD_REASON =
  'the sound card that this computer uses by itself; aplay -L lists others';

/** A first ceiling (share of full scale) and fade (s): low and soft, until somebody has listened. Our choice. */
export const FIRST_SOUND = { ceiling: 0.1, fadeOutS: 0.5 } as const;

/** Why they are so. */
export const SOUND_REASONS = {
  ceiling:
    'the loudest that it may be, as a share of full scale: low, until you have measured with a sound level meter where ears can be',
  fadeOutS: 'park and the end of a cue fade it out; a stop silences it at once',
} as const;

export const LOUD_CAUTION =
  'Loud sound damages hearing: at once near a loudspeaker, and over hours at 85 dB(A). The ceiling does not know the knob of the amplifier: turn that down first, and raise either in small steps, with nobody near the loudspeaker.';
