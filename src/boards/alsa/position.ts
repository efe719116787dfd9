import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { PLAYED_HZ } from '../../sound/limits.ts';

/** A measured position counts by this share: what is read is some ms old, now more and now less. */
const SHARE = 1 / 4;
/** How often the device of a player is searched: one that is not found by then has no position to tell. */
const SEARCHES = 20;

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

  /** The device was at this frame at this time, in an even run. */
  measured(frame: number, ms: number): void {
    const offFrames = (frame - this.frameAt(ms)) * SHARE;
    this.driftMs -= (offFrames * 1000) / PLAYED_HZ;
    this.resume(this.frameAt(ms) + offFrames, ms);
  }

  /** The device begins at this frame now, or goes on with it after a gap. */
  resume(frame: number, ms: number): void {
    this.#baseFrame = frame;
    this.#baseMs = ms;
  }
}

/** What the kernel says of a playing device (Documentation/sound/designs/procfile.rst). */
export interface DeviceStatus {
  /** When it was started: an underrun ends in another start, and its counters begin at 0 again. */
  started: string;
  /** Frames that it has played since then, and that it was given. */
  played: number;
  given: number;
}

/** The status of a device; undefined when it is not this process's, or does not run. */
export function deviceStatus(text: string, pid: number): DeviceStatus | undefined {
  const value = (key: string) => new RegExp(`^${key}\\s*:\\s*(\\S+)`, 'm').exec(text)?.[1];
  if (value('owner_pid') !== String(pid) || value('state') !== 'RUNNING') return undefined;
  const [played, given] = [Number(value('hw_ptr')), Number(value('appl_ptr'))];
  if (!Number.isFinite(played) || !Number.isFinite(given)) return undefined;
  return { started: value('trigger_time') ?? '', played, given };
}

/** The position of the device that one player plays on, where it can tell. */
export class DevicePosition {
  readonly #pid: number;
  readonly #root: string;
  #file: string | undefined;
  #searches = 0;
  #last: DeviceStatus | undefined;
  /** The frame of the stream at which the device was started. */
  #startFrame = 0;

  /** @param root where the kernel lists its sound devices */
  constructor(pid: number, root = '/proc/asound') {
    this.#pid = pid;
    this.#root = root;
  }

  /** Whether the device has told its position. */
  get isKnown(): boolean {
    return this.#last !== undefined;
  }

  /**
   * The frame of the stream that the device plays now; undefined where it does not tell.
   * `again`: it was started since the last look, for the first time or after an underrun.
   */
  look(): { frame: number; again: boolean } | undefined {
    const status = this.#read();
    if (!status) return undefined;
    const last = this.#last;
    const again = last?.started !== status.started || status.played < last.played;
    // It ran dry: everything that it had been given was played by then.
    if (last && again) this.#startFrame += last.given;
    this.#last = status;
    return { frame: this.#startFrame + status.played, again };
  }

  #read(): DeviceStatus | undefined {
    if (this.#file !== undefined) return readStatus(this.#file, this.#pid);
    if (this.#searches >= SEARCHES) return undefined;
    this.#searches++;
    for (const file of statusFiles(this.#root)) {
      const status = readStatus(file, this.#pid);
      if (!status) continue;
      this.#file = file;
      return status;
    }
    return undefined;
  }
}

/** The status files of all devices that play. */
function statusFiles(root: string): string[] {
  const within = (folder: string, like: RegExp) => {
    try {
      return readdirSync(folder)
        .filter((name) => like.test(name))
        .map((name) => join(folder, name));
    } catch {
      return [];
    }
  };
  return within(root, /^card\d+$/)
    .flatMap((card) => within(card, /^pcm\d+p$/))
    .flatMap((device) => within(device, /^sub\d+$/))
    .map((part) => join(part, 'status'));
}

function readStatus(file: string, pid: number): DeviceStatus | undefined {
  try {
    return deviceStatus(readFileSync(file, 'utf8'), pid);
  } catch {
    return undefined;
  }
}

/** Bytes that a process has read (`rchar`, proc_pid_io(5)); undefined where the kernel does not tell. */
export function bytesRead(pid: number): number | undefined {
  try {
    const found = /^rchar: (\d+)$/m.exec(readFileSync(`/proc/${pid}/io`, 'utf8'));
    return found ? Number(found[1]) : undefined;
  } catch {
    return undefined;
  }
}
