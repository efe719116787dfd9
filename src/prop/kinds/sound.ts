import { factsOf } from '../../boards/registry.ts';
import { show } from '../finding.ts';
import type { Kind } from './kind.ts';
import { NO_SOUND, type SoundChannel } from './sound-schema.ts';

/** The remark where a sound is on a board that cannot play it. */
const BOARD = 'put it on a board with driver: alsa, such as boards: { speaker: { driver: alsa } }';

export const sound: Kind<SoundChannel> = {
  value: 'volume',
  part: 'sound',
  moves: false,
  switches: false,
  unlikelyA: 10,
  words: {
    part: 'loudspeaker',
    busy: 'playing',
    used: 'playing',
    unused: 'silent',
    release: (name) => `silence ${name}`,
    cores: 'its loudspeaker is wired to the sound card',
  },
  faults: {
    symptoms: [],
    rulesOut: () => [],
    levels: () => [],
  },
  outputs: () => [],
  cores: () => [],
  draw: ({ draw }) => {
    const maxA = draw?.maxA ?? 0;
    return { idleA: maxA, busyA: maxA, stallA: maxA, pinsA: [] };
  },
  glow: () => undefined,
  usedAt: (_channel, value) => value !== 0 && value !== NO_SOUND,
  meets: () => undefined,
  maxParkS: ({ fadeOutS }) => fadeOutS,
  check: (notes, name, { output: { board } }) => {
    const path = ['channels', name, 'output', 'board'];
    if (notes.given.broken(path) || !Object.hasOwn(notes.prop.boards, board)) return;
    if (!factsOf(notes.prop.boards[board]!).sounds)
      notes.error(path, `board ${board} is no sound card`, BOARD);
  },
  checkPose: (notes, name, _channel, value, path) =>
    notes.error(
      path,
      `${show(value)} cannot be held by a pose: ${name} plays a sound for a time`,
      'remove it, and play the sound in a step of a cue with sound',
    ),
  measurable: () => [],
  info: ({ park, ceiling, fadeOutS }, { sounds = [] }) => ({
    park: { to: park.to },
    sounds: [...sounds],
    ceiling,
    fadeOutS,
  }),
};
