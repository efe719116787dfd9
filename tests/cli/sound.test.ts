import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { soundNameOf } from '../../src/prop/sound-name.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { wavOf } from '../sound/wav.ts';
import { run } from './fake-daemon.ts';
import { setting } from './setting.ts';

const on = setting('test');

/** Takes what is sent, in small parts. */
function takes(): Buffer[] {
  const parts: Buffer[] = [];
  Object.assign(on.daemon.handlers, {
    'sound.begin': () => ({ upload: 7, partBytes: 3000 }),
    'sound.part': ({ data }: { data: string }) => {
      parts.push(Buffer.from(data, 'base64'));
      return { received: Buffer.concat(parts).length };
    },
    'sound.add': ({ name }: { name: string }) => ({
      ...{ sound: name, file: `${name}.wav`, durationS: 0.5 },
      ...{ version: 'cccccccccccccccc', pending: true },
    }),
    'sound.cancel': () => ({ cancelled: true }),
    'sound.remove': ({ sound }: { sound: string }) => ({
      sound,
      version: 'c'.repeat(16),
      pending: false,
    }),
  });
  return parts;
}

describe('sinew sound', () => {
  test('add sends a file in parts, under a name made of its own, with the caution', async () => {
    const parts = takes();
    const file = join(on.folder, 'Owl, hoot 2.wav');
    await writeFile(file, wavOf());
    const { code, out } = await run(['sound', 'add', file], on.daemon);
    expect(code).toBe(0);
    expect(out).toContain('sound Owl_hoot_2 is Owl_hoot_2.wav, 0.5 s long; it is in use once');
    expect(out).toContain('Loud sound damages hearing');
    expect(Buffer.concat(parts).equals(wavOf())).toBe(true);
    expect(parts.length).toBe(3);
    expect(on.daemon.called('sound.add')).toEqual([{ upload: 7, name: 'Owl_hoot_2' }]);
  });

  test('a sound that is refused is given up, and the reason is shown', async () => {
    takes();
    on.daemon.handlers['sound.add'] = () => {
      throw new Refusal('sound.name-taken', 'there is a sound hoot already; give another name');
    };
    const file = join(on.folder, 'hoot.wav');
    await writeFile(file, wavOf());
    const { code, err } = await run(['sound', 'add', file, '--name', 'hoot'], on.daemon);
    expect(code).toBe(1);
    expect(err).toContain('there is a sound hoot already');
    expect(on.daemon.called('sound.cancel')).toHaveLength(1);
  });

  test('a file that is not there is refused before the lease is taken', async () => {
    const { code, err } = await run(['sound', 'add', join(on.folder, 'no.wav')], on.daemon);
    expect(code).toBe(1);
    expect(err).toMatch(/no.wav: it cannot be read \(ENOENT\); check its path/);
    expect(on.daemon.methods).not.toContain('lease.take');
  });

  test('remove says what becomes of the file', async () => {
    takes();
    const { code, out } = await run(['sound', 'remove', 'hoot'], on.daemon);
    expect([code, out.trim().split('\n')[0]]).toEqual([
      0,
      'sound hoot is off the list, and its file is still there; it is in effect',
    ]);
  });
});

test('a name for the prop file is made of that of any file', () => {
  expect(soundNameOf('C:\\sounds\\Käuzchen (1).mp3')).toBe('Kauzchen_1');
  expect(soundNameOf('/tmp/07 - owl.wav')).toBe('owl');
  expect(soundNameOf('???.wav')).toBe('sound');
});
