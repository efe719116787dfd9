import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { JournalEntry } from '../../src/api/types.ts';
import { readLines, textOfLine } from '../../src/record/lines.ts';
import { readJournal } from '../../src/record/read.ts';
import { ClockWatch } from '../../src/service/clock-watch.ts';
import { type JournalFs, JournalLog } from '../../src/service/journal-log.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

let folder: string;
let clock: VirtualClock;
let said: string[];

beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-journal-'));
  clock = new VirtualClock();
  said = [];
});

afterEach(() => fs.rm(folder, { recursive: true }));

const open = (fileSystem: Partial<JournalFs> = {}) =>
  JournalLog.open(folder, clock, (text) => said.push(text), { ...fs, ...fileSystem } as JournalFs);

function entry(seq: number, more: Partial<JournalEntry> = {}): JournalEntry {
  const time = new Date(clock.wallMs()).toISOString();
  return { seq, time, tick: 0, who: 'desk', what: 'cue', text: `cue ${seq} runs`, ...more };
}

const numbers = async (log: JournalLog, query = {}) =>
  (await log.read({ limit: 10_000, ...query })).entries.map(({ seq }) => seq);

const files = async () => (await fs.readdir(join(folder, 'journal')).catch(() => [])).sort();

const onDisk = async () =>
  (await readJournal(join(folder, 'journal'), { limit: 10_000 })).entries.map(({ seq }) => seq);

/** Until the disk has kept up; the clock stands still. */
async function settled(log: JournalLog): Promise<void> {
  await new Promise((resolve) => setTimeout(resolve, 5));
  await log.read({});
}

async function until(holds: () => Promise<boolean>): Promise<void> {
  while (!(await holds())) await new Promise((resolve) => setTimeout(resolve, 2));
}

describe('what is kept', () => {
  test('survives a restart, and the numbers go on', async () => {
    const log = await open();
    expect(log.startsAfter).toBe(0);
    for (let seq = 1; seq <= 3; seq++) log.take(entry(seq), false);
    await log.flush();
    const next = await open();
    expect(next.startsAfter).toBe(3);
    expect((await next.recent()).map(({ seq }) => seq)).toEqual([1, 2, 3]);
    expect(said).toEqual([]);
    next.take(entry(4), false);
    expect(await numbers(next)).toEqual([1, 2, 3, 4]);
  });

  test('a start reads only the newest file, and what earlier runs did when it is asked for', async () => {
    const log = await open();
    for (let seq = 1; seq <= 3000; seq++) {
      log.take(entry(seq, { what: 'condition', text: 'x'.repeat(200) }), false);
      if (seq % 500 === 0) await log.flush();
    }
    // Written last, though it is not the newest.
    log.take(entry(2999, { count: 2, ticks: [1, 2] }), true);
    await log.flush();
    expect((await files()).length).toBeGreaterThan(2);
    const read: string[] = [];
    const readFile = async (...args: Parameters<typeof fs.readFile>) => {
      read.push(String(args[0]));
      return fs.readFile(...args);
    };
    const next = await open({ readFile: readFile as typeof fs.readFile });
    expect(read).toEqual([join(folder, 'journal', (await files()).at(-1)!)]);
    expect([next.startsAfter, next.lastSeq]).toEqual([3000, 3000]);
    expect(next.lastTimeMs).toBe(clock.wallMs());
    next.take(entry(3001), false);
    const recent = await next.recent();
    const seqs = recent.map(({ seq }) => seq).sort((a, b) => a - b);
    expect(seqs).toEqual(Array.from({ length: 500 }, (_, i) => 2501 + i));
  });

  test('a crash loses no number: they go on at the next thousand', async () => {
    const log = await open();
    for (let seq = 1; seq <= 3; seq++) log.take(entry(seq), false);
    log.take(entry(4, { what: 'stop' }), false);
    clock.advance(20);
    await until(async () => (await onDisk()).length === 4);
    expect((await open()).startsAfter).toBe(1000);
  });

  test('commands wait for each other; a stop, a fault and a lost link are written at once with them', async () => {
    for (const what of ['stop', 'fault', 'link lost', 'lockout'] as const) {
      const log = await open();
      const first = log.startsAfter + 1;
      log.take(entry(first), false);
      clock.advance(20_000);
      await settled(log);
      expect(await onDisk()).not.toContain(first);
      log.take(entry(first + 1, { what }), false);
      clock.advance(20);
      await until(async () => (await onDisk()).includes(first + 1));
      expect(await onDisk()).toContain(first);
    }
  });

  test('thirty seconds of commands are one write', async () => {
    let writes = 0;
    const log = await open({
      open: (async (...args: Parameters<typeof fs.open>) => {
        if (args[1] === 'a') writes++;
        return fs.open(...args);
      }) as typeof fs.open,
    });
    for (let seq = 1; seq <= 59; seq++) {
      log.take(entry(seq, { what: 'channel.move' }), false);
      clock.advance(500);
    }
    expect(writes).toBe(0);
    clock.advance(500);
    await until(async () => (await onDisk()).length === 59);
    expect(writes).toBe(1);
  });

  test('an entry that grows, or counts others, is kept once', async () => {
    const log = await open();
    log.take(entry(1, { what: 'channel.move', text: 'a' }), false);
    await log.flush();
    log.take(entry(1, { what: 'channel.move', text: 'b', count: 2, ticks: [1, 2] }), true);
    log.take(entry(2, { text: 'cue breathe begins again' }), false);
    await log.flush();
    log.take(entry(3, { text: 'cue breathe begins again', count: 2 }), false);
    log.take(entry(4, { text: 'cue breathe begins again', count: 3 }), false);
    for (const one of [log, await open()]) {
      if (one !== log) await log.flush();
      const { entries } = await one.read({});
      expect(entries.map(({ seq, text, count }) => [seq, text, count])).toEqual([
        [1, 'b', 2],
        [4, 'cue breathe begins again', 3],
      ]);
    }
  });

  test('the files are bounded, and the oldest go first', async () => {
    const log = await open();
    const long = 'x'.repeat(2000);
    for (let seq = 1; seq <= 6000; seq++) {
      log.take(entry(seq, { text: long }), false);
      if (seq % 100 === 0) await log.flush();
    }
    const sizes = await Promise.all(
      (await files()).map(async (name) => (await fs.stat(join(folder, 'journal', name))).size),
    );
    expect(sizes.reduce((sum, size) => sum + size, 0)).toBeLessThan(8.5 * 1024 * 1024);
    expect(Math.max(...sizes)).toBeLessThan(512 * 1024);
    const kept = await numbers(log);
    expect(kept.at(-1)).toBe(6000);
    expect(kept[0]).toBeGreaterThan(1500);
    expect((await open()).startsAfter).toBe(6000);
  });

  test('a client that asks without end does not push out what the prop did', async () => {
    const log = await open();
    log.take(entry(1, { what: 'stop', text: 'stop category 0' }), false);
    for (let seq = 2; seq <= 5000; seq++)
      log.take(entry(seq, { what: seq % 2 ? 'refused' : 'channel.move' }), false);
    log.take(entry(5001, { what: 'condition' }), false);
    await log.flush();
    const { entries, lost } = await (await open()).read({ limit: 10_000 });
    expect(entries[0]!.text).toBe('stop category 0');
    expect(entries.at(-1)!.seq).toBe(5001);
    expect(entries.length).toBe(1002);
    expect(lost).toBe(3999);
  });
});

describe('what is asked for', () => {
  test('by time, number, words and refusals', async () => {
    const log = await open();
    const at = (hour: number) => new Date(Date.UTC(2026, 4, 4, hour)).toISOString();
    log.take(entry(1, { time: at(8), text: 'beak to 30 deg' }), false);
    log.take(
      entry(2, { time: at(9), what: 'refused', text: 'channel.move: beak is limited' }),
      false,
    );
    await log.flush();
    log.take(entry(3, { time: at(10), who: 'Ann', text: 'cue wake runs' }), false);
    expect(await numbers(log, { from: at(9) })).toEqual([2, 3]);
    expect(await numbers(log, { until: at(9) })).toEqual([1]);
    expect(await numbers(log, { from: at(9), until: at(10) })).toEqual([2]);
    expect(await numbers(log, { refused: true })).toEqual([2]);
    expect(await numbers(log, { search: 'BEAK  limited' })).toEqual([2]);
    expect(await numbers(log, { search: 'ann wake' })).toEqual([3]);
    expect(await numbers(log, { since: 1 })).toEqual([2, 3]);
    expect(await numbers(log, { before: 3, limit: 1 })).toEqual([2]);
    expect(await numbers(log, { limit: 2 })).toEqual([2, 3]);
  });
});

describe('a power cut', () => {
  test('at every byte of the last lines leaves all whole lines, drops the torn one, and says so', async () => {
    const log = await open();
    for (let seq = 1; seq <= 3; seq++) log.take(entry(seq, { text: `naïve ${seq}` }), false);
    await log.flush();
    const path = join(folder, 'journal', (await files())[0]!);
    const whole = await fs.readFile(path);
    for (let length = whole.length - 300; length < whole.length; length++) {
      await fs.writeFile(path, whole.subarray(0, length));
      said = [];
      const next = await open();
      const before = await numbers(next);
      expect(before).toEqual([1, 2, 3].slice(0, before.length));
      const isTorn = length > 0 && whole[length - 1] !== 0x0a;
      // The last byte of a line is its end: without it, the line still is whole.
      const lacksEnd = isTorn && whole[length] === 0x0a;
      expect(said.length, `${length} bytes`).toBe(isTorn && !lacksEnd ? 1 : 0);
      next.take(entry(next.startsAfter + 1), false);
      await next.flush();
      expect(await onDisk()).toEqual([...before, next.startsAfter + 1]);
    }
  });

  test('that leaves the newest file empty or unreadable uses no number twice', async () => {
    const log = await open();
    log.take(entry(1), false);
    await log.flush();
    const path = join(folder, 'journal', '000002.log');
    await fs.writeFile(path, '');
    expect((await open()).startsAfter).toBe(1000);
    const readFile = async (...args: Parameters<typeof fs.readFile>) => {
      if (args[0] === path) throw Object.assign(new Error('EIO: i/o error'), { code: 'EIO' });
      return fs.readFile(...args);
    };
    const next = await open({ readFile: readFile as typeof fs.readFile });
    expect(next.startsAfter).toBe(1000);
  });

  test('garbage in the middle costs the lines that it is in', () => {
    const lines = [1, 2, 3].map((seq) => textOfLine({ entry: entry(seq) }));
    const spoilt = `${lines[0]}${lines[1]!.replace('cue', 'c\0e')}${lines[2]}`;
    const { lines: read, damaged } = readLines(spoilt);
    expect(damaged).toBe(1);
    expect(read).toEqual([{ entry: entry(1) }, { entry: entry(3) }]);
  });
});

describe('a disk that fails', () => {
  const full = Object.assign(new Error('ENOSPC: no space left on device'), { code: 'ENOSPC' });

  test('full: entries wait, then are written, and nothing is lost; it is said once each', async () => {
    let isFull = true;
    const log = await open({
      open: (async (...args: Parameters<typeof fs.open>) => {
        if (!isFull) return fs.open(...args);
        // A part of it gets there.
        await fs.mkdir(join(folder, 'journal'), { recursive: true });
        await fs.appendFile(args[0] as string, 'half of a li');
        throw full;
      }) as typeof fs.open,
    });
    log.take(entry(1, { what: 'stop' }), false);
    await log.flush();
    log.take(entry(2), false);
    await log.flush();
    expect(said).toHaveLength(1);
    expect(said[0]).toContain('ENOSPC');
    expect(await numbers(log)).toEqual([1, 2]);
    isFull = false;
    clock.advance(60_000);
    await until(async () => said.length === 2);
    expect(said[1]).toBe('the journal is written again; nothing is lost');
    expect(await onDisk()).toEqual([1, 2]);
  });

  test('full for long: the oldest go, and how many is kept', async () => {
    let isFull = true;
    const log = await open({
      open: (async (...args: Parameters<typeof fs.open>) => {
        if (isFull) throw full;
        return fs.open(...args);
      }) as typeof fs.open,
    });
    for (let seq = 1; seq <= 5000; seq++) log.take(entry(seq), false);
    await log.flush();
    isFull = false;
    await log.flush();
    const { entries, lost } = await (await open()).read({ limit: 10_000 });
    expect(entries.at(-1)!.seq).toBe(5000);
    expect(entries.length + lost!).toBe(5000);
    expect(lost).toBeGreaterThan(2900);
  });

  test('that hangs: taking and reading go on, within bounds', async () => {
    let wake: () => void = () => {};
    const hung = new Promise<void>((resolve) => {
      wake = resolve;
    });
    const log = await open({
      open: (async (...args: Parameters<typeof fs.open>) => {
        await hung;
        return fs.open(...args);
      }) as typeof fs.open,
    });
    log.take(entry(1, { what: 'stop' }), false);
    clock.advance(20);
    for (let seq = 2; seq <= 4000; seq++) log.take(entry(seq), false);
    const { entries, lost } = await log.read({ limit: 10_000 });
    expect(entries.at(0)!.seq).toBe(1);
    expect(entries.at(-1)!.seq).toBe(4000);
    expect(entries.length + lost!).toBe(4000);
    wake();
    await log.flush();
    expect((await onDisk()).at(-1)).toBe(4000);
  });

  test('that cannot be read at the start', async () => {
    const log = await open({
      readdir: (async () => {
        throw Object.assign(new Error('EIO: i/o error'), { code: 'EIO' });
      }) as unknown as typeof fs.readdir,
    });
    expect(said[0]).toContain('EIO');
    log.take(entry(1), false);
    await log.flush();
    expect(await onDisk()).toEqual([1]);
  });
});

test('files of a newer program are left as they are, and not written to', async () => {
  const log = await open();
  log.take(entry(1), false);
  await log.flush();
  const newer = textOfLine({ format: 2 }) + textOfLine({ entry: entry(2) });
  const path = join(folder, 'journal', '000002.log');
  await fs.writeFile(path, newer);
  const next = await open();
  expect(said[0]).toContain('newer version');
  next.take(entry(3), false);
  await next.flush();
  expect(await fs.readFile(path, 'utf8')).toBe(newer);
  expect(await files()).toEqual(['000001.log', '000002.log', '000003.log']);
  expect(await onDisk()).toEqual([1, 3]);
});

describe('the time of day', () => {
  const hour = 3_600_000;

  test('set forward or back is said once; what a network corrects all the time is not', () => {
    const watch = new ClockWatch(undefined);
    expect(watch.look(1_000_000, 0)).toBeUndefined();
    for (let i = 1; i < 100; i++)
      expect(watch.look(1_000_000 + i * 1500, i * 1000)).toBeUndefined();
    const forward = watch.look(1_000_000 + 148_500 + 5 * hour, 99_000);
    expect(forward).toMatchObject({ byS: 18_000 });
    expect(forward!.text).toContain('forward by 5 h 0 min');
    expect(watch.look(1_000_000 + 149_500 + 5 * hour, 100_000)).toBeUndefined();
    expect(watch.look(1_000_000, 101_000)!.text).toContain('back by 5 h');
  });

  test('behind the last entry at the start: it may not be set yet', () => {
    const watch = new ClockWatch(Date.UTC(2026, 4, 4));
    const first = watch.look(Date.UTC(2026, 3, 1), 0);
    expect(first!.text).toContain('33 days behind the last entry');
    expect(watch.look(Date.UTC(2026, 4, 4, 1), 1000)!.text).toContain('forward');
    expect(new ClockWatch(Date.UTC(2026, 4, 4)).look(Date.UTC(2026, 4, 5), 0)).toBeUndefined();
  });
});
