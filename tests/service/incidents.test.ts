import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import type { Incident, JournalEntry } from '../../src/api/types.ts';
import { nearest } from '../../src/record/incident.ts';
import { type IncidentFs, Incidents } from '../../src/service/incidents.ts';
import type { PropView } from '../../src/service/protocol.ts';
import { TelemetryRing } from '../../src/service/telemetry-ring.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { CONDITIONS, type Condition } from '../../src/shared/condition.ts';
import { FIELD, FLAG, RAIL_FIELD, Telemetry } from '../../src/shared/telemetry.ts';

/** Beak moves, and mist is on. */
const VIEW = {
  channels: [
    { name: 'beak', value: 'deg' },
    { name: 'mist', value: 'on' },
  ],
  rails: [{ name: 'servo6v', limitA: 5 }],
} as unknown as PropView;
const TICK_MS = 5;

let folder: string;
let clock: VirtualClock;
let telemetry: Telemetry;
let incidents: Incidents;
let troubles: unknown[];
let tick: number;
let seq: number;
let moves: boolean;
let condition: Condition;

beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-incidents-'));
  [tick, seq, moves, condition, troubles] = [0, 0, true, 'live', []];
  begin();
});

afterEach(async () => {
  incidents.close();
  await fs.rm(folder, { recursive: true });
});

function begin(fileSystem: Partial<IncidentFs> = {}): void {
  incidents?.close();
  clock = new VirtualClock();
  telemetry = Telemetry.create(2, 1);
  incidents = new Incidents(
    folder,
    clock,
    () => VIEW,
    (error) => troubles.push(error),
    { ...fs, ...fileSystem } as IncidentFs,
  );
  incidents.use(new TelemetryRing(telemetry.buffers, clock));
}

/** The core ticks: beak goes on by a degree a second. */
function pass(seconds: number): void {
  for (let ms = 0; ms < seconds * 1000; ms += TICK_MS) {
    tick++;
    const nowS = (tick * TICK_MS) / 1000;
    telemetry.begin({ nowS }, tick, CONDITIONS.indexOf(condition));
    const { numbers } = telemetry;
    const beak = telemetry.channelAt(0);
    if (moves) numbers[beak + FIELD.value] = nowS;
    numbers[beak + FIELD.target] = 30;
    numbers[beak + FIELD.flags] = moves ? FLAG.moving : 0;
    numbers[beak + FIELD.measuredDeg] = Number.NaN;
    numbers[beak + FIELD.measuredA] = Number.NaN;
    numbers[telemetry.channelAt(1) + FIELD.value] = 1;
    numbers.fill(Number.NaN, telemetry.railAt(0), telemetry.railAt(1));
    numbers[telemetry.railAt(0) + RAIL_FIELD.amps] = 0.25;
    telemetry.commit();
    clock.advance(TICK_MS);
  }
}

function note(what: JournalEntry['what'], who: string, text: string): void {
  const time = new Date(clock.wallMs()).toISOString();
  incidents.note({ seq: ++seq, time, tick, who, what, text });
}

async function kept(): Promise<Incident[]> {
  const heads = await incidents.list();
  return Promise.all(heads.map(async ({ seq: one }) => (await incidents.read(one))!));
}

test('the ten seconds before a stop are kept at once, and what followed after three seconds', async () => {
  pass(15);
  note('cue', 'Ann', 'cue wake runs');
  pass(2);
  condition = 'stopped';
  // Asked for between two ticks, it is named before the next one.
  telemetry.setCondition(CONDITIONS.indexOf(condition));
  clock.advance(1);
  note('stop', 'Ann', 'stop category 1: asked for');
  await until(async () => (await incidents.list()).length === 1);
  const [first] = await kept();
  expect(first!.line).toBe(
    'stop category 1: asked for, by Ann, while live: beak at 16.9 deg on its way to 30, mist on; last before it: cue wake runs (Ann, 2 s)',
  );
  expect(first!.body.t[0]).toBeGreaterThan(-10.1);
  expect(first!.body.t[0]).toBeLessThan(-9.8);
  expect(first!.body.t.at(-1)).toBeLessThanOrEqual(0);
  const beak = first!.body.channels.beak!.value as number[];
  // A degree a second, at the times that are said.
  for (const [i, t] of first!.body.t.entries()) expect(beak[i]).toBeCloseTo(17 + t, 1);
  // What stayed as it was is one value, and what is not measured is left out.
  expect(first!.body.channels.mist).toEqual({ value: 1 });
  expect(first!.body.rails.servo6v).toEqual({ amps: 0.25 });
  expect(Object.keys(first!.body.channels.beak!)).toEqual(['value', 'target']);
  moves = false;
  pass(3.5);
  await incidents.flush();
  const [then, ...others] = await kept();
  expect(others).toEqual([]);
  expect(then!.body.t.at(-1)).toBeGreaterThan(2.5);
  expect(then!.body.condition.at(-1)).toBe('stopped');
  expect(then!.entries.map(({ text }) => text)).toEqual([
    'cue wake runs',
    'stop category 1: asked for',
  ]);
});

test('the age of the link is kept, of whoever has control', async () => {
  telemetry.setHolder(3);
  for (let i = 0; i < 50; i++) {
    telemetry.markLife(3);
    pass(0.1);
  }
  pass(0.6);
  note('link lost', 'prop', 'desk is gone: silent');
  await incidents.flush();
  const [{ body }] = (await kept()) as [Incident];
  expect(Math.max(...body.linkMs.slice(0, -8).map(Number))).toBeLessThanOrEqual(200);
  expect(body.linkMs.at(-1)).toBeGreaterThanOrEqual(500);
});

test('what follows shortly belongs to it; Stop on a prop that stands still is left to the journal', async () => {
  pass(12);
  condition = 'stopped';
  moves = false;
  note('fault', 'prop', 'board head: gone');
  pass(1);
  note('stop', 'Ann', 'stop category 0: asked for');
  pass(4);
  await incidents.flush();
  expect(await kept()).toHaveLength(1);
  pass(21);
  for (let i = 0; i < 20; i++) {
    note('stop', 'Ann', 'stop category 0: asked for');
    pass(5);
  }
  await incidents.flush();
  expect(await kept()).toHaveLength(1);
});

test('their number is bounded, the oldest go, and a time finds the nearest', async () => {
  for (let i = 0; i < 60; i++) {
    pass(4);
    note('stop', 'Ann', `stop ${i}`);
    await incidents.flush();
  }
  const heads = await incidents.list();
  expect(heads.map(({ text }) => text)).toEqual(
    Array.from({ length: 50 }, (_unused, i) => `stop ${i + 10}`),
  );
  const time = new Date(Date.parse(heads[7]!.time) + 1500).toISOString();
  expect(nearest(heads, time)).toBe(heads[7]);
  expect(nearest(heads)).toBe(heads[49]);
});

test('a damaged file, and one of a newer program, are left out', async () => {
  pass(4);
  for (const text of ['a', 'b', 'c']) {
    note('stop', 'Ann', text);
    pass(4);
    await incidents.flush();
  }
  const at = (name: string) => join(folder, 'incidents', name);
  await fs.truncate(at('000001.log'), 100);
  await fs.writeFile(at('000002.log'), '{"format":2,"seq":2}\n{}\n');
  expect((await incidents.list()).map(({ text }) => text)).toEqual(['c']);
  expect(await incidents.read(99)).toBeUndefined();
});

test('on a full disk it is said once, and the next is tried; a disk that hangs holds nothing up', async () => {
  let isFull = true;
  begin({
    open: (async (...args: Parameters<typeof fs.open>) => {
      if (isFull) throw new Error('ENOSPC');
      return fs.open(...args);
    }) as typeof fs.open,
  });
  for (let i = 0; i < 3; i++) {
    pass(4);
    note('stop', 'Ann', `stop ${i}`);
    await incidents.flush();
  }
  expect(troubles).toHaveLength(1);
  isFull = false;
  pass(4);
  note('stop', 'Ann', 'stop 3');
  await incidents.flush();
  expect((await incidents.list()).map(({ text }) => text)).toEqual(['stop 3']);
  let open: () => void = () => {};
  const hung = new Promise<void>((resolve) => {
    open = resolve;
  });
  begin({
    mkdir: (() => hung) as unknown as typeof fs.mkdir,
  });
  for (let i = 0; i < 30; i++) {
    pass(4);
    note('stop', 'Ann', `hung ${i}`);
  }
  open();
  await incidents.flush();
  // Those that waited already are written; the others were not gathered in memory.
  expect((await incidents.list()).length).toBeLessThan(6);
});

async function until(holds: () => Promise<boolean>): Promise<void> {
  while (!(await holds())) await new Promise((resolve) => setTimeout(resolve, 2));
}
