import { existsSync } from 'node:fs';
import { needTools } from './tools.ts';

const FILES = [
  '/usr/lib/x86_64-linux-gnu',
  '/usr/lib/aarch64-linux-gnu',
  '/usr/lib/arm-linux-gnueabihf',
].map((folder) => `${folder}/libebur128.so.1`);

/** Sees to it that libebur128 is there, the reference of loudness. */
export function needLoudness(): void {
  needTools('the reference of loudness', ['libebur128-1'], () =>
    FILES.some((file) => existsSync(file)) ? [] : ['libebur128'],
  );
}

/** Its file. */
export function loudnessLibrary(): string {
  needLoudness();
  return FILES.find((file) => existsSync(file))!;
}
