import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { needTools } from './tools.ts';

const SOX = '/usr/bin/sox';

/** Sees to it that sox is there, with its MP3 part. */
export function needSox(): void {
  needTools('signals of the sound tests', ['sox', 'libsox-fmt-mp3'], () => {
    if (!existsSync(SOX)) return ['sox'];
    return execFileSync(SOX, ['-h'], { encoding: 'utf8' }).includes(' mp3')
      ? []
      : ['libsox-fmt-mp3'];
  });
}

/**
 * A file made by sox in a folder for temporary files.
 * @param name with the ending of its kind
 * @param output options of the output, such as `-r 44100 -c 1`
 * @param effects what sox does, such as `synth 1 sine 1000 gain -20`
 */
export function soxFile(name: string, output: string, effects: string): Uint8Array {
  needSox();
  const folder = mkdtempSync(join(tmpdir(), 'sinew-sox-'));
  const file = join(folder, name);
  try {
    // -R: the same noise and dither each time.
    const args = `-R -n ${output}`.split(' ').concat(file, effects.split(' '));
    execFileSync(SOX, args, { stdio: ['ignore', 'ignore', 'pipe'] });
    return Uint8Array.from(readFileSync(file));
  } finally {
    rmSync(folder, { recursive: true });
  }
}
