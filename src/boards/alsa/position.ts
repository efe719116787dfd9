import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { PLAYED_HZ } from '../../sound/limits.ts';

/**
 * Which frame of the stream the device plays when. A sound card tells its position in /proc/asound; what
 * has none (ALSA's file plug-in, its null device, a sound server) is taken to play what is written to it
 * evenly from the first frame on.
 */
export class StreamClock {
  #baseMs: number;
  #baseFrame = 0;
  /** How far the device has gone away from even playing since the stream began (ms): its drift. */
  driftMs = 0;

  /** @param startMs when the first frame is given to the player (ms) */
  constructor(startMs: number) {
    this.#baseMs = startMs;
  }

  frameAt(ms: number): number {
    return Math.round(this.#baseFrame + ((ms - this.#baseMs) * PLAYED_HZ) / 1000);
  }

  msAt(frame: number): number {
    return this.#baseMs + ((frame - this.#baseFrame) * 1000) / PLAYED_HZ;
  }

  /** The device was at this frame at this time; the first time counts in full, later ones by a part. */
  measured(frame: number, ms: number, first: boolean): void {
    const offFrames = frame - this.frameAt(ms);
    if (!first) this.driftMs -= (offFrames * 1000) / PLAYED_HZ / (first ? 1 : 4);
    this.#baseFrame = this.frameAt(ms) + offFrames / (first ? 1 : 4);
    this.#baseMs = ms;
  }

  /** Nothing was written for a while: the device waited, and goes on with this frame now. */
  resume(frame: number, ms: number): void {
    this.#baseFrame = frame;
    this.#baseMs = ms;
  }
}

/** What the kernel says of a playing device (Documentation/sound/designs/procfile.rst): frames played. */
export function playedFrames(text: string, pid: number): number | undefined {
  const value = (key: string) => new RegExp(`^${key}\\s*:\\s*(\\S+)`, 'm').exec(text)?.[1];
  if (value('owner_pid') !== String(pid) || value('state') !== 'RUNNING') return undefined;
  const frames = Number(value('hw_ptr'));
  return Number.isFinite(frames) ? frames : undefined;
}

/** The status file of the device that a process plays on; undefined where it has none. */
export function statusFile(pid: number, root = '/proc/asound'): string | undefined {
  const within = (folder: string, like: RegExp) => {
    try {
      return readdirSync(folder)
        .filter((name) => like.test(name))
        .map((name) => join(folder, name));
    } catch {
      return [];
    }
  };
  for (const card of within(root, /^card\d+$/))
    for (const device of within(card, /^pcm\d+p$/))
      for (const part of within(device, /^sub\d+$/)) {
        const file = join(part, 'status');
        if (readStatus(file, pid) !== undefined) return file;
      }
  return undefined;
}

/** Frames that the device has played; undefined when it is not this process's, or does not run. */
export function readStatus(file: string, pid: number): number | undefined {
  try {
    return playedFrames(readFileSync(file, 'utf8'), pid);
  } catch {
    return undefined;
  }
}
