import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { bytesRead, DevicePosition, StreamClock } from '../../../src/boards/alsa/position.ts';

const PID = 4711;
let root: string;
let status: string;
beforeEach(() => {
  root = mkdtempSync(join(tmpdir(), 'sinew-asound-'));
  const folder = join(root, 'card1', 'pcm0p', 'sub0');
  mkdirSync(folder, { recursive: true });
  status = join(folder, 'status');
});
afterEach(() => rmSync(root, { recursive: true }));

/** As the kernel writes it: sound/core/pcm.c, snd_pcm_substream_proc_status_read. */
function device(started: string, played: number, given: number, state = 'RUNNING', pid = PID) {
  writeFileSync(
    status,
    `state: ${state}
owner_pid   : ${pid}
trigger_time: ${started}
tstamp      : 0.000000000
delay       : ${given - played}
avail       : 0
avail_max   : 2880
-----
hw_ptr      : ${played}
appl_ptr    : ${given}
`,
  );
}

describe('the position of a device', () => {
  test('goes on where it was after an underrun, though its counters begin at 0 again', () => {
    const position = new DevicePosition(PID, root);
    device('10.5', 480, 2880);
    expect(position.look()).toEqual({ frame: 480, again: true });
    device('10.5', 1440, 3360);
    expect(position.look()).toEqual({ frame: 1440, again: false });
    device('10.5', 3360, 3360, 'XRUN');
    expect(position.look()).toBeUndefined();
    expect(position.isKnown).toBe(true);
    // Everything that it was given has been played: 3360 frames.
    device('12.25', 100, 960);
    expect(position.look()).toEqual({ frame: 3460, again: true });
    device('12.25', 2000, 2880);
    expect(position.look()).toEqual({ frame: 5360, again: false });
    // A second time, and further than before.
    device('19', 4000, 6000);
    expect(position.look()).toEqual({ frame: 10_240, again: true });
  });

  test('is that of this process alone, and is searched for a bounded number of times', () => {
    const position = new DevicePosition(PID, root);
    device('10.5', 480, 2880, 'RUNNING', PID + 1);
    for (let n = 0; n < 100; n++) expect(position.look()).toBeUndefined();
    device('10.5', 480, 2880);
    expect(position.look()).toBeUndefined();
    expect(new DevicePosition(PID, root).look()).toEqual({ frame: 480, again: true });
    expect(new DevicePosition(PID, join(root, 'nothing')).look()).toBeUndefined();
  });
});

describe('the clock of a stream', () => {
  test('has the right times after an underrun', () => {
    const position = new DevicePosition(PID, root);
    const clock = new StreamClock(1000);
    const look = (ms: number) => {
      const { frame, again } = position.look()!;
      if (again) clock.resume(frame, ms);
      else clock.measured(frame, ms);
    };
    device('10.5', 480, 2880);
    look(1020);
    // 48 frames a ms.
    for (let ms = 1040; ms < 2000; ms += 20) {
      device('10.5', 480 + 48 * (ms - 1020), 3360 + 48 * (ms - 1020));
      look(ms);
    }
    expect(clock.frameAt(1980)).toBe(480 + 48 * 960);
    // It runs dry and is started again at 2300 ms.
    const given = 3360 + 48 * 960;
    device('12.25', 480, 2880);
    look(2310);
    expect(clock.frameAt(2310)).toBe(given + 480);
    expect(clock.msAt(given)).toBeCloseTo(2300, 6);
    expect(Math.abs(clock.driftMs)).toBeLessThan(0.1);
  });
});

test('what a process has read is told by the kernel', () => {
  expect(bytesRead(process.pid)).toBeGreaterThan(0);
  expect(bytesRead(2 ** 30)).toBeUndefined();
});
