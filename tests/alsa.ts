import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { needTools } from './tools.ts';

/** Sees to it that there is a player for ALSA. */
export function needAplay(): void {
  needTools('tests of sound', ['alsa-utils'], () =>
    existsSync('/usr/bin/aplay') ? [] : ['aplay'],
  );
}

/**
 * ALSA devices without hardware: `nothing` takes everything at once, and `tofile` writes what it is given
 * to a file too (alsa-lib's plug-ins null and file). What is written there is the device's position.
 */
export class AlsaFolder {
  readonly folder = mkdtempSync(join(tmpdir(), 'sinew-alsa-'));
  readonly env: NodeJS.ProcessEnv;

  constructor() {
    needAplay();
    const config = join(this.folder, 'asound.conf');
    writeFileSync(
      config,
      `pcm.nothing { type null }
pcm.tofile { type file slave.pcm nothing file "${join(this.folder, 'out.raw')}" format raw }
`,
    );
    this.env = { ...process.env, ALSA_CONFIG_PATH: config };
  }

  /** What `tofile` was given: the left channel, -1 to 1. */
  heard(): Float32Array {
    const bytes = readFileSync(join(this.folder, 'out.raw'));
    return Float32Array.from(
      { length: bytes.length >> 2 },
      (_, i) => bytes.readInt16LE(4 * i) / 32_767,
    );
  }

  remove(): void {
    rmSync(this.folder, { recursive: true, force: true });
  }
}

/** Where sound begins and ends in samples at 48 kHz (ms), with gaps of 50 ms or more between. */
export function stretches(samples: Float32Array, above = 0.01): { fromMs: number; toMs: number }[] {
  const found: { from: number; to: number }[] = [];
  for (let i = 0; i < samples.length; i++) {
    if (Math.abs(samples[i]!) < above) continue;
    const last = found.at(-1);
    if (last && i - last.to < 2400) last.to = i;
    else found.push({ from: i, to: i });
  }
  return found.map(({ from, to }) => ({ fromMs: from / 48, toMs: (to + 1) / 48 }));
}
