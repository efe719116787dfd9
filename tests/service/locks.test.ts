import { type ChildProcess, spawn } from 'node:child_process';
import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { type Life, lifeOf } from '../../src/safe/life.ts';
import type { PlannedBoard } from '../../src/safe/plan.ts';
import { holds, Locks, lockableOsc, lockablesOf, takeLock } from '../../src/service/locks.ts';
import { Refusal } from '../../src/shared/errors.ts';

/** Other processes that live: each plays a daemon. */
const children: ChildProcess[] = [];
const lives: Life[] = [];
beforeAll(() => {
  for (let i = 0; i < 8; i++) {
    const child = spawn('sleep', ['600']);
    children.push(child);
    lives.push(lifeOf(child.pid!)!);
  }
});
afterAll(() => {
  for (const child of children) child.kill();
});

let folder: string;
beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-locks-'));
});
afterEach(() => fs.rm(folder, { recursive: true }));
const path = () => join(folder, 'daemon.lock');
const [first, second] = [() => lives[0]!, () => lives[1]!];
const refusalOf = async (work: Promise<unknown>): Promise<Refusal> => {
  const error = await work.then(
    () => undefined,
    (reason) => reason,
  );
  if (error instanceof Refusal) return error;
  throw new Error(`not refused: ${error}`);
};

describe('a lock', () => {
  test('is one process’s, and whoever comes second is told whose', async () => {
    expect(await takeLock(path(), first())).toBeUndefined();
    expect(await takeLock(path(), second())).toEqual(first());
    expect(await takeLock(path(), first())).toBeUndefined();
    expect(await fs.readdir(folder)).toEqual(['daemon.lock']);
  });

  test.each([
    ['whose process is gone', () => ({ ...first(), pid: 4_194_303 })],
    ['whose process id another process has now', () => ({ ...first(), startTicks: 1 })],
    ['of another start of the machine', () => ({ ...first(), bootId: 'an earlier one' })],
  ])('%s is stale', async (_what, stale) => {
    await fs.writeFile(path(), JSON.stringify(stale()));
    expect(holds(stale())).toBe(false);
    expect(await takeLock(path(), second())).toBeUndefined();
    expect(JSON.parse(await fs.readFile(path(), 'utf8'))).toEqual(second());
  });

  test.each(['', 'nothing', '{"pid":-1}', '{"pid":1e9}', 'null'])(
    'that says %j, as after a power cut, is stale',
    async (text) => {
      await fs.writeFile(path(), text);
      expect(await takeLock(path(), second())).toBeUndefined();
    },
  );

  test('of a process that has ended but that nobody has waited for is stale', async () => {
    // The shell that would wait for it has become a program that does not.
    const parent = spawn('sh', ['-c', 'sleep 0 & echo $!; exec sleep 600']);
    try {
      const pid = await new Promise<number>((resolve) =>
        parent.stdout.once('data', (data) => resolve(Number(String(data)))),
      );
      while (lifeOf(pid)) await new Promise((resolve) => setTimeout(resolve, 10));
      expect(holds({ ...first(), pid })).toBe(false);
    } finally {
      parent.kill();
    }
  });

  test('many that come at once, on a stale one: one has it, and the others know who', async () => {
    for (let round = 0; round < 50; round++) {
      await fs.writeFile(path(), JSON.stringify({ ...first(), startTicks: 1 }));
      const others = await Promise.all(lives.map((life) => takeLock(path(), life)));
      const winners = lives.filter((_life, i) => others[i] === undefined);
      expect(winners).toHaveLength(1);
      expect(others.filter((other) => other !== undefined)).toEqual(
        Array.from({ length: lives.length - 1 }, () => winners[0]),
      );
      await fs.rm(path());
    }
  });
});

describe('the locks of a daemon', () => {
  const chip: PlannedBoard = {
    name: 'body',
    driver: 'pca9685',
    bus: 1,
    address: 0x41,
    outputs: [],
  };

  test('a state folder is one daemon’s; the second is told its pid', async () => {
    await new Locks([folder], first()).takeFolder(folder);
    const { message, values } = await refusalOf(new Locks([folder], second()).takeFolder(folder));
    expect(message).toBe(
      `another sinewd (process ${first().pid}) has the state folder ${folder}; end it, or give another folder with --state-dir (if there is no such program, remove ${path()})`,
    );
    expect(values.pid).toBe(first().pid);
  });

  test('a state folder that cannot be written is one daemon’s all the same', async () => {
    // A folder in the way of the lock: it fails for every user, root included.
    await fs.mkdir(join(folder, 'state'));
    for (const life of [first(), second()])
      await fs.mkdir(join(folder, 'state', `daemon.lock.${life.pid}.new`));
    const state = join(folder, 'state');
    await new Locks([folder], first()).takeFolder(state);
    const { message } = await refusalOf(new Locks([folder], second()).takeFolder(state));
    expect(message).toContain(`process ${first().pid}`);
  });

  test('boards are told apart by what they are in the real world', () => {
    const linux: PlannedBoard = {
      name: 'head',
      driver: 'linux',
      chip: '/dev/gpiochip0',
      pwmChip: 0,
      outputs: [
        { name: 'fan', kind: 'level', pin: 17, safe: 0 },
        { name: 'beak', kind: 'pulse', pin: 18, safe: 0 },
      ],
    };
    const keys = lockablesOf([
      chip,
      linux,
      { name: 'legs', driver: 'pigpio', outputs: [] },
      { name: 'toy', driver: 'sim', outputs: [] },
    ]).map(({ key }) => key);
    expect(keys).toEqual(['i2c-1-0x41', 'gpiochip0-17', 'pwmchip0-18', 'pigpio']);
  });

  test('a board is one daemon’s, whatever its name in the file', async () => {
    await new Locks([folder], first()).hold(lockablesOf([chip]));
    const other = new Locks([folder], second());
    const { message } = await refusalOf(other.hold(lockablesOf([{ ...chip, name: 'wings' }])));
    expect(message).toContain(
      `another sinewd (process ${first().pid}) has board wings (address 0x41 on I2C bus 1)`,
    );
    await other.hold(lockablesOf([{ ...chip, address: 0x42 }]));
  });

  test('refused one of several, it has none of them', async () => {
    await new Locks([folder], first()).hold([lockableOsc(9000)]);
    const other = new Locks([folder], second());
    const { message } = await refusalOf(other.hold([...lockablesOf([chip]), lockableOsc(9000)]));
    expect(message).toContain('OSC port 9000');
    expect(await fs.readdir(folder)).toEqual(['sinew-osc-9000.lock']);
  });

  test('what is not needed any more is let go', async () => {
    const mine = new Locks([folder], first());
    await mine.hold([...lockablesOf([chip]), lockableOsc(9000)]);
    await mine.keepOnly([lockableOsc(9000)]);
    await new Locks([folder], second()).hold(lockablesOf([chip]));
  });

  test('one in a folder that only the first could write is seen by the second', async () => {
    const [one, two] = [join(folder, 'one'), join(folder, 'two')];
    await fs.mkdir(one);
    await fs.mkdir(two);
    await new Locks([one, two], first()).hold(lockablesOf([chip]));
    // The second cannot write the first folder: to it, something stands in the way there.
    await fs.mkdir(join(one, `sinew-i2c-1-0x41.lock.${second().pid}.new`));
    await refusalOf(new Locks([one, two], second()).hold(lockablesOf([chip])));
    // And the other way round.
    await fs.rm(join(one, 'sinew-i2c-1-0x41.lock'));
    await new Locks([one, two], second()).hold(lockablesOf([chip]));
    await refusalOf(new Locks([one, two], first()).hold(lockablesOf([chip])));
  });

  test('no folder can be written: it goes on without', async () => {
    await new Locks([join(folder, 'nowhere')], first()).hold(lockablesOf([chip]));
  });
});
