import { execFileSync } from 'node:child_process';
import { accessSync, constants, existsSync } from 'node:fs';
import { type Browser, chromium } from 'playwright-core';

const PLACES = [
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome',
  '/usr/bin/google-chrome-stable',
];
const INSTALL = 'apt-get update && apt-get install -y chromium';

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
  if (named) throw new Error(`CHROMIUM=${named} is no program; name one, or unset the variable`);
  if (isRoot && existsSync('/usr/bin/apt-get')) {
    console.log(`Chromium is missing, and the browser tests need it. Installing: ${INSTALL}`);
    execFileSync('/bin/sh', ['-c', INSTALL], {
      stdio: 'inherit',
      env: { ...process.env, DEBIAN_FRONTEND: 'noninteractive' },
    });
  }
  if (findChromium()) return;
  throw new Error(
    `the browser tests need Chromium. Type: sudo sh -c '${INSTALL}'` +
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
