import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { soundHead } from '../../src/sound/length.ts';
import { readSound, readSoundSync, soundProblem } from '../../src/sound/read-sound.ts';
import { wavOf } from './wav.ts';

const folder = mkdtempSync(join(tmpdir(), 'sinew-read-sound-'));
afterAll(() => rmSync(folder, { recursive: true }));
const at = (name: string) => join(folder, name);

async function wrong(name: string): Promise<string> {
  const head = soundHead(at(name));
  const read = await readSound(at(name)).then(
    () => 'was read',
    (error) => soundProblem(error).wrong,
  );
  expect(() => readSoundSync(at(name))).toThrow();
  expect('wrong' in head && head.wrong).toBe(read);
  return read;
}

test('a pipe, a device, a folder, and links to them are refused at once, whoever reads', async () => {
  execFileSync('mkfifo', [at('pipe.wav')]);
  mkdirSync(at('folder.wav'));
  symlinkSync('pipe.wav', at('to-pipe.wav'));
  symlinkSync('/dev/zero', at('device.wav'));
  symlinkSync('folder.wav', at('to-folder.wav'));
  for (const name of ['pipe', 'folder', 'to-pipe', 'device', 'to-folder'])
    expect(await wrong(`${name}.wav`)).toBe('it is not a regular file');
});

test('what is missing, leads in a circle, or is too large, says so', async () => {
  expect(await wrong('nothing.wav')).toBe('it is not beside the prop file');
  symlinkSync('round.wav', at('round.wav'));
  expect(await wrong('round.wav')).toBe('it cannot be read (ELOOP)');
  writeFileSync(at('large.wav'), '');
  truncateSync(at('large.wav'), 20_000_001);
  expect(await wrong('large.wav')).toBe('it has 20.0 MB, and 20 MB are allowed');
});

test('a link to a sound is that sound', async () => {
  writeFileSync(at('hoot.wav'), wavOf());
  symlinkSync('hoot.wav', at('owl.wav'));
  expect(soundHead(at('owl.wav'))).toEqual({ durationS: 0.5 });
  expect((await readSound(at('owl.wav'))).equals(wavOf())).toBe(true);
});
