import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, renameSync, rmdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { SoundServer } from '../../../src/boards/alsa/sound-server.ts';
import { wavOf } from '../../sound/wav.ts';

// The files of a sound card's thread; there is no player, and its time is set by hand.

let folder: string;
let server: SoundServer;
let news: string[];
let nowMs: number;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'sinew-sound-server-'));
  news = [];
  nowMs = 0;
});
afterEach(() => {
  server.serve({ t: 'close' });
  rmSync(folder, { recursive: true });
});

const LOOK_MS = 10;
const at = (name: string) => join(folder, name);
/** Whole at once, as a careful program writes it. */
function put(name: string, content: Buffer | string): void {
  writeFileSync(at('new'), content);
  renameSync(at('new'), at(name));
}

function open(...names: string[]): void {
  const files = names.map((file) => ({ name: file.split('.')[0]!, file, path: at(file) }));
  const work = { device: 'none', gains: new Float64Array(1), channels: [{ name: 'voice', files }] };
  server = new SoundServer(work, {
    nowMs: () => nowMs,
    news: (text) => news.push(text),
    env: { PATH: folder },
    lookMs: LOOK_MS,
  });
}

async function until(what: () => boolean): Promise<void> {
  for (let n = 0; !what(); n++) {
    if (n > 2000) throw new Error('it did not happen in time');
    await wait(5);
  }
}
/** Asks for a sound. @returns why it is not heard */
function play(sound: number): string | undefined {
  const before = news.length;
  server.serve({ t: 'play', channel: 0, sound, atMs: nowMs });
  return news.slice(before).find((text) => text.includes('is not heard'));
}
const heard = (sound: number) => until(() => play(sound) === undefined);
const said = (text: string) => until(() => news.some((one) => one.includes(text)));

describe('the files of sounds', () => {
  test('one that is put in place after the start is heard, and one that comes back as it was', async () => {
    open('hoot.wav');
    await said('sound hoot: hoot.wav: it is not beside the prop file; put it there');
    expect(play(1)).toMatch(/^hoot is not heard: hoot.wav: it is not beside the prop file/);
    put('hoot.wav', wavOf());
    await heard(1);
    nowMs += 10_000;
    renameSync(at('hoot.wav'), at('away.wav'));
    await until(() => play(1) !== undefined);
    renameSync(at('away.wav'), at('hoot.wav'));
    await heard(1);
    nowMs += 10_000;
    renameSync(at('hoot.wav'), at('away.wav'));
    mkdirSync(at('hoot.wav'));
    await until(() => play(1) !== undefined);
    rmdirSync(at('hoot.wav'));
    renameSync(at('away.wav'), at('hoot.wav'));
    await heard(1);
  });

  test('a pipe and a folder are refused, and keep nobody from the others', async () => {
    execFileSync('mkfifo', [at('pipe.wav')]);
    put('hoot.wav', wavOf());
    open('pipe.wav', 'hoot.wav');
    await heard(2);
    expect(play(1)).toBe(
      'pipe is not heard: pipe.wav: it is not a regular file; put a sound file there',
    );
  });

  test('while a sound plays, none is read again; after that they are', async () => {
    put('hoot.wav', wavOf());
    open('hoot.wav', 'purr.wav');
    await heard(1);
    put('hoot.wav', 'a letter');
    put('purr.wav', 'another letter');
    // Half a second long, by the clock of the test.
    nowMs += 450;
    await wait(20 * LOOK_MS);
    expect(news.join()).not.toContain('not a sound');
    nowMs += 100;
    await said('sound hoot: hoot.wav: it is not a sound of a known kind');
    await said('sound purr: purr.wav: it is not a sound of a known kind');
  });
});
