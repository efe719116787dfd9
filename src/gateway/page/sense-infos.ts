import { signal, useSignalEffect } from '@preact/signals';
import type { SenseInfo } from '../../api/types.ts';
import { call } from './link.ts';
import { senses, version } from './store.ts';

/** What does not change from reading to reading: kinds, limits, and what each is of. */
export const senseInfos = signal<Record<string, SenseInfo>>({});
let infosOf = '';

async function load(now: string): Promise<void> {
  if (infosOf === now) return;
  infosOf = now;
  try {
    senseInfos.value = (await call('sense.list', {})).senses;
  } catch {
    // Asked for again with the next version, or link; a lost link says so by itself.
    infosOf = '';
  }
}

/** Keeps `senseInfos` up to date while what uses it is shown. */
export function useSenseInfos(): void {
  useSignalEffect(() => {
    const now = version.value;
    if (Object.keys(senses.value).length > 0 && now !== '') void load(now);
  });
}
