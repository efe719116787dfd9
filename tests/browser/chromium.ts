import { accessSync, constants } from 'node:fs';
import { type Browser, chromium } from 'playwright-core';
import { needTools } from '../tools.ts';

const PLACES = [
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome',
  '/usr/bin/google-chrome-stable',
];

const isRoot = process.getuid?.() === 0;

const named = process.env.CHROMIUM;

/** The path of Chromium: the one that the variable CHROMIUM names, else the first of the usual. */
export function findChromium(): string | undefined {
  return (named ? [named] : PLACES).find((path) => {
    try {
      accessSync(path, constants.X_OK);
      return true;
    } catch {
      return false;
    }
  });
}

/** Vitest's global setup: the browser tests never pass by being left out. */
export default function setup(): void {
  if (findChromium()) return;
  if (named) throw new Error(`CHROMIUM=${named} is not a program; name one, or unset the variable`);
  needTools(
    'the browser tests',
    ['chromium'],
    () => (findChromium() ? [] : ['Chromium']),
    ' (or name an installed one: CHROMIUM=/path/to/chromium npm test)',
  );
}

export const ARGS = [
  ...(isRoot ? ['--no-sandbox'] : []),
  '--disable-gpu',
  '--disable-background-networking',
  '--no-first-run',
  '--disable-component-update',
  '--disable-sync',
  '--disable-quic',
  '--disable-dev-shm-usage',
];

/** Headless Chromium that talks to nobody but the daemon. */
export function launch(): Promise<Browser> {
  setup();
  return chromium.launch({ executablePath: findChromium()!, args: ARGS });
}
