import { expect, test } from 'vitest';
import { underVoltageFile } from '../../src/boards/under-voltage.ts';
import { SupplyWatch } from '../../src/service/supply-watch.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { settle } from '../core/rig.ts';

const ALARM = '/sys/class/hwmon/hwmon1/in0_lcrit_alarm';

function computer(files: Record<string, string>) {
  const clock = new VirtualClock();
  const told: string[] = [];
  const read = async (path: string) => files[path];
  const watch = new SupplyWatch(clock, (text) => told.push(text), read);
  const run = async (ms: number) => {
    for (let i = 0; i < ms; i += 500) {
      clock.advance(500);
      for (let turn = 0; turn < 5; turn++) await settle();
    }
  };
  return { files, told, watch, run, clock };
}

const watched = (alarm: string) => ({
  '/sys/class/hwmon/hwmon0/name': 'cpu_thermal\n',
  '/sys/class/hwmon/hwmon1/name': 'rpi_volt\n',
  [ALARM]: alarm,
});

test('a supply that is too low is told once, and when it is over', async () => {
  const { files, told, watch, run } = computer(watched('0\n'));
  await watch.begin();
  await run(10_000);
  expect(told).toEqual([]);
  files[ALARM] = '1\n';
  await run(20_000);
  expect(told).toEqual([expect.stringContaining("the computer's own supply is too low")]);
  files[ALARM] = '0\n';
  await run(4000);
  expect(told[1]).toBe("the computer's own supply is no longer too low");
});

test('one that comes and goes does not fill the journal; a file that is gone says nothing', async () => {
  const { files, told, watch, run } = computer(watched('0\n'));
  await watch.begin();
  for (let i = 0; i < 60; i++) {
    files[ALARM] = i % 2 ? '0\n' : '1\n';
    await run(2000);
  }
  expect(told.length).toBeLessThanOrEqual(6);
  delete files[ALARM];
  await run(10_000);
  expect(told.length).toBeLessThanOrEqual(6);
});

test('a computer that does not watch its supply is asked no more', async () => {
  const { told, watch, clock } = computer({ '/sys/class/hwmon/hwmon0/name': 'coretemp\n' });
  await watch.begin();
  clock.advance(10_000);
  expect(told).toEqual([]);
  expect(await underVoltageFile(async () => undefined)).toBeUndefined();
});
