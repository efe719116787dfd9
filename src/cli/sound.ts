import { soundNameOf } from '../prop/sound-name.ts';
import { Refusal } from '../shared/errors.ts';
import { readSound } from '../sound/read-sound.ts';
import { SoundError } from '../sound/sound-error.ts';
import { show } from './output.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** Sounds beside the prop file of a running daemon: sent to it, or taken off its list. */

interface SoundOptions {
  action: 'add' | 'remove';
  what: string;
  name?: string;
  replace?: true;
}

async function bytesOf(file: string): Promise<Uint8Array> {
  try {
    return await readSound(file);
  } catch (error) {
    const why =
      error instanceof SoundError
        ? `${error.message}; ${error.right}`
        : `it cannot be read (${(error as NodeJS.ErrnoException).code}); check its path and rights`;
    throw new Refusal('file.unreadable', `${file}: ${why}`, { file });
  }
}

async function add({ what, name, replace }: SoundOptions, operator: Operator): Promise<Outcome> {
  const bytes = await bytesOf(what);
  await operator.lease();
  const { upload, partBytes } = await operator.call('sound.begin', { bytes: bytes.length });
  try {
    for (let at = 0; at < bytes.length; at += partBytes) {
      const data = Buffer.from(bytes.subarray(at, at + partBytes)).toString('base64');
      await operator.call('sound.part', { upload, at, data });
    }
    const own = { upload, name: name ?? soundNameOf(what), ...(replace && { replace }) };
    const result = await operator.write(`sound ${own.name}`, 'sound.add', own);
    const { sound, file, durationS, pending } = result;
    return {
      result,
      text: `sound ${sound} is ${file}, ${show(durationS)} s long; ${laterText(pending)}\n${CAUTION}`,
    };
  } catch (error) {
    await operator.call('sound.cancel', {}).catch(() => undefined);
    throw error;
  }
}

const CAUTION =
  'Loud sound damages hearing: try it softly first, with nobody near the loudspeaker.';

function laterText(pending: boolean): string {
  return pending ? 'it is in use once the prop is parked (sinew park)' : 'it is in use';
}

async function remove({ what }: SoundOptions, operator: Operator): Promise<Outcome> {
  await operator.lease();
  const result = await operator.write(`sound ${what} removed`, 'sound.remove', { sound: what });
  const effect = result.pending
    ? 'it takes effect once the prop is parked (sinew park)'
    : 'it is in effect';
  return {
    result,
    text: `sound ${what} is off the list, and its file is still there; ${effect}`,
  };
}

export const soundVerbs = [
  verb<SoundOptions>({
    name: 'sound',
    summary: 'send a sound to the daemon (WAV, FLAC, OGG, MP3), or take one off its list',
    where: 'both',
    args: [
      { name: 'action', doc: 'add or remove', choices: ['add', 'remove'] },
      { name: 'what', doc: 'a file of this computer, or the name of the sound to remove' },
    ],
    options: [
      { flags: '--name <NAME>', doc: 'its name in the prop file; without it, that of the file' },
      { flags: '--replace', doc: 'take the place of the sound of this name' },
    ],
    changesFile: true,
    run: (given, operator: Operator) =>
      given.action === 'add' ? add(given, operator) : remove(given, operator),
  }),
];
