import { expect } from 'vitest';
import { type Client, lamp, makeProp, Rig, relay, rgb, servo, TICK_MS } from './rig.ts';

// A prop for cues, and what is seen of it.

/** A move of 24 deg takes 0.4 s: up to 120 deg/s in 0.2 s at 600 deg/s2, and down again. */
export const FAR = 24;
export const FAR_MS = 400;

export const prop = (cues: object, over: Record<string, unknown> = {}) =>
  makeProp(
    {
      neck: servo({ marks: { up: FAR } }),
      jaw: servo(),
      wing_left: servo({ limitsDeg: [0, 40] }),
      wing_right: servo({ limitsDeg: [0, 40] }),
      fan: relay(),
      bell: relay(),
      mist: relay({ requires: [{ channel: 'neck', above: 10 }] }),
      pump: relay({ duty: { maxOnS: 1, restS: 5 } }),
      glow: lamp(),
      eye: rgb(),
    },
    {
      groups: { wings: ['wing_left', 'wing_right'] },
      poses: { alert: { neck: 'up', jaw: 12, fan: 'on', glow: 0.6, eye: '#ff8000' } },
      cues,
      ...over,
    },
  );

/** What begins and what ends from now on: [ms, channel, begins]. */
export type Log = [ms: number, channel: string, begins: boolean][];

export function watch(rig: Rig): Log {
  const startMs = rig.clock.nowMs();
  const log: Log = [];
  const busy = new Set<string>();
  rig.afterTick = () => {
    for (const channel of rig.core.body.channels) {
      const goesOn =
        channel.kind === 'relay'
          ? channel.on
          : channel.kind === 'servo'
            ? channel.moving
            : channel.kind === 'sound'
              ? channel.isBusy
              : channel.fading;
      if (goesOn === busy.has(channel.name)) continue;
      if (goesOn) busy.add(channel.name);
      else busy.delete(channel.name);
      log.push([rig.clock.nowMs() - startMs, channel.name, goesOn]);
    }
  };
  return log;
}

export const begins = (log: Log, channel: string): number[] =>
  log.filter(([, name, begin]) => name === channel && begin).map(([ms]) => ms);
export const ends = (log: Log, channel: string): number[] =>
  log.filter(([, name, begin]) => name === channel && !begin).map(([ms]) => ms);

/** Within one tick of when it is due, and never before. */
export function onTime(ms: number | undefined, dueMs: number): void {
  expect(ms).toBeGreaterThanOrEqual(dueMs);
  expect(ms).toBeLessThanOrEqual(dueMs + TICK_MS);
}

export async function live(cues: object, over?: Record<string, unknown>) {
  const { rig, client } = await Rig.live(prop(cues, over));
  return { rig, client, log: watch(rig) };
}

/** Live, with a cue running for `ms`. */
export async function running(cues: object, cue: string, ms = 0, over?: Record<string, unknown>) {
  const one = await live(cues, over);
  await one.client.call('cue.run', { cue });
  await one.rig.run(ms);
  return one;
}

export const isRunning = async (client: Client, cue: string) =>
  (await client.call('cue.list')).cues[cue]!.running;
