import { needAplay } from './alsa.ts';
import { needLoudness } from './loudness-reference.ts';
import { needSox } from './sox.ts';

/** Vitest's global setup of the slow unit tests: what the tests of sound need is installed once, before them. */
export default function setup(): void {
  needSox();
  needAplay();
  needLoudness();
}
