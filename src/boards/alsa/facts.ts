import type * as z from 'zod';
import type { BoardFacts, Z } from '../facts.ts';
import { NO_PINS } from '../no-pins.ts';
import type { AlsaPlace } from './safe.ts';

const schema = (z: Z) =>
  z.strictObject({
    driver: z.literal('alsa'),
    device: z
      .string()
      .regex(/^[A-Za-z][\w:,.=-]{0,79}$/, {
        error: 'is not an ALSA device; give one that aplay -L lists, such as default or plughw:1,0',
      })
      .default('default')
      .describe(
        'ALSA device, as aplay -L lists them: default, plughw:1,0 for the second card; pipewire where PipeWire runs',
      ),
  });

export type AlsaBoard = z.output<ReturnType<typeof schema>>;

/** A sound card. It has no pins. */
export const alsa = {
  schema,
  setUp: {
    about: 'a sound card, for channels of kind sound',
    most: 0,
    entry: () => ({ driver: 'alsa', device: 'default' }),
    canBeCut: false,
  },
  ...NO_PINS,
  sounds: true,
  placeOf: (_name, { device }, pin) => `${device} ${pin}`,
  planned: ({ device }) => ({ device }),
  locks: ({ name, device }) => [
    {
      key: `alsa-${device.replaceAll(/[^\w-]/g, '-')}`,
      what: `board ${name} (sound device ${device})`,
    },
  ],
  lintBoard(name, { device }, notes) {
    const same = Object.entries(notes.prop.boards).find(
      ([, other]) => other.driver === 'alsa' && (other as AlsaBoard).device === device,
    )![0];
    if (same !== name)
      notes.error(
        ['boards', name, 'device'],
        `sound device ${device} is board ${same} already`,
        `put its channels on board ${same}: several may play at once`,
      );
  },
  lintPin({ boardPath }, _board, notes) {
    notes.error(boardPath, 'a sound card has no pins', 'name a board that has');
  },
} as const satisfies BoardFacts<AlsaBoard, AlsaPlace>;
