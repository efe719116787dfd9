import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import type { MaintainEvery } from '../../src/prop/schema-parts.ts';
import { WearBook, type WornChannel } from '../../src/service/wear-book.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import type { SealedFs } from '../../src/shared/sealed-file.ts';
import { Telemetry, WEAR_FIELD } from '../../src/shared/telemetry.ts';

const BEAK: WornChannel = { name: 'beak', kind: 'servo', place: 'head 18' };
const FAN: WornChannel = { name: 'fan', kind: 'relay', place: 'head 7' };

let folder: string;
let clock: VirtualClock;
let troubles: string[];
let telemetry: Telemetry;

beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-wear-'));
  clock = new VirtualClock();
  troubles = [];
});

afterEach(() => fs.rm(folder, { recursive: true }));

async function open(
  channels: WornChannel[],
  fileSystem: Partial<SealedFs> = {},
): Promise<WearBook> {
  const book = await WearBook.open(folder, clock, (_error, text) => troubles.push(text), {
    ...fs,
    ...fileSystem,
  } as SealedFs);
  change(book, channels);
  return book;
}

/** Another version of the prop: its counts begin at nothing. */
function change(book: WearBook, channels: WornChannel[]): void {
  telemetry = Telemetry.create(channels.length, 0);
  book.use(telemetry.buffers, channels);
}

function move(channel: number, travelDeg: number): void {
  telemetry.numbers[telemetry.channelAt(channel) + WEAR_FIELD.travelDeg]! += travelDeg;
}

const travel = (book: WearBook) =>
  Object.fromEntries(
    book
      .list()
      .channels.map(({ name, counts, gone }) => [gone ? `${name} gone` : name, counts.travelDeg]),
  );

test('is added up across restarts and versions of the file, and never counted twice', async () => {
  const book = await open([BEAK, FAN]);
  move(0, 10);
  expect(travel(book)).toEqual({ beak: 10, fan: 0 });
  move(0, 5);
  change(book, [FAN, BEAK]);
  move(1, 100);
  expect(travel(book)).toEqual({ beak: 115, fan: 0 });
  expect(travel(book)).toEqual({ beak: 115, fan: 0 });
  await book.flush();
  const next = await open([BEAK, FAN]);
  move(0, 1);
  expect(travel(next)).toEqual({ beak: 116, fan: 0 });
  expect(next.list().since).toBe(book.list().since);
});

test('a service that starts again while the daemon goes on counts nothing twice', async () => {
  const book = await open([BEAK, FAN]);
  const { buffers } = telemetry;
  move(0, 10);
  await book.flush();
  // This is not on the disk yet.
  move(0, 5);
  const trouble = (_error: unknown, text: string) => troubles.push(text);
  const next = await WearBook.open(folder, clock, trouble);
  next.use(buffers, [BEAK, FAN]);
  expect(travel(next)).toEqual({ beak: 15, fan: 0 });
  move(0, 1);
  expect(travel(next)).toEqual({ beak: 16, fan: 0 });
  await next.flush();
  // The daemon as well: its counts begin at nothing.
  expect(travel(await open([BEAK, FAN]))).toEqual({ beak: 16, fan: 0 });
});

test('a channel with another name goes on; one that was removed is remembered, and comes back', async () => {
  const book = await open([BEAK, FAN]);
  move(0, 10);
  change(book, [{ ...BEAK, name: 'bill' }, FAN]);
  expect(travel(book)).toEqual({ bill: 10, fan: 0 });
  move(0, 1);
  change(book, [FAN]);
  expect(travel(book)).toEqual({ fan: 0, 'bill gone': 11 });
  await book.flush();
  const next = await open([{ ...BEAK, name: 'bill' }, FAN]);
  expect(travel(next)).toEqual({ bill: 11, fan: 0 });
  // On another pin under a new name it is another one.
  change(next, [{ ...BEAK, name: 'nose', place: 'head 4' }, FAN]);
  expect(travel(next)).toEqual({ fan: 0, nose: 0, 'bill gone': 11 });
});

test('maintenance is noted with who and what, and counted from there', async () => {
  const book = await open([BEAK]);
  move(0, 10);
  expect(await book.done('bill', 'Ann', '')).toBeUndefined();
  expect(await book.done('beak', 'Ann', 'greased')).toMatchObject({ who: 'Ann', note: 'greased' });
  // It is on the disk at once.
  const [info] = (await open([BEAK])).list().channels;
  expect(info).toMatchObject({ done: { who: 'Ann' }, sinceDone: { travelDeg: 0 } });
  change(book, [BEAK]);
  move(0, 3);
  const [now] = book.list().channels;
  expect(now).toMatchObject({ counts: { travelDeg: 13 }, sinceDone: { travelDeg: 3 } });
});

test('it is written every ten minutes, and only if something has changed', async () => {
  let writes = 0;
  const book = await open([BEAK], {
    open: (async (...args: Parameters<typeof fs.open>) => {
      if (args[1] === 'w') writes++;
      return fs.open(...args);
    }) as typeof fs.open,
  });
  for (let minute = 0; minute < 60; minute++) {
    if (minute < 30) move(0, 1);
    clock.advance(60_000);
    await new Promise((resolve) => setTimeout(resolve, 4));
  }
  await book.flush();
  expect(writes).toBeGreaterThanOrEqual(1);
  expect(writes).toBeLessThanOrEqual(4);
});

test('a damaged file is put aside and said; a full disk is said, and counting goes on', async () => {
  const book = await open([BEAK]);
  move(0, 10);
  await book.flush();
  const path = join(folder, 'wear.json');
  const text = await fs.readFile(path, 'utf8');
  await fs.writeFile(path, text.replace('10', '99'));
  const next = await open([BEAK], {
    open: (async () => {
      throw new Error('ENOSPC');
    }) as typeof fs.open,
  });
  expect(troubles).toEqual(['the wear that was counted is damaged: it begins at nothing']);
  expect(await fs.readdir(folder)).toContain('wear.json.damaged');
  move(0, 4);
  await next.flush();
  expect(troubles).toHaveLength(2);
  expect(travel(next)).toEqual({ beak: 4 });
});

test('what a newer program has kept is left as it is', async () => {
  const book = await open([BEAK]);
  move(0, 10);
  await book.flush();
  const path = join(folder, 'wear.json');
  const { sealedText } = await import('../../src/shared/sealed-file.ts');
  const newer = sealedText('sinew-wear', JSON.stringify({ format: 2, channels: [] }));
  await fs.writeFile(path, newer);
  const next = await open([BEAK]);
  move(0, 4);
  await next.flush();
  expect(await fs.readFile(path, 'utf8')).toBe(newer);
  expect(troubles[0]).toContain('newer version');
});

test('maintenance is due at the first limit that is reached, and said once, across restarts', async () => {
  const said: string[] = [];
  let every: MaintainEvery = { starts: 5, hours: 2 };
  const begin = async () => {
    const upkeep = {
      every: (name: string) => (name === 'beak' ? every : undefined),
      due: (_channel: string, text: string) => said.push(text),
      drift: (name: string) =>
        name === 'beak' ? { byDeg: 1, days: [{ day: '2026-05-04', byDeg: 1 }] } : undefined,
    };
    const trouble = (_error: unknown, text: string) => troubles.push(text);
    const book = await WearBook.open(folder, clock, trouble, fs, upkeep);
    change(book, [BEAK, FAN]);
    return book;
  };
  const count = (field: 'starts' | 'onS' | 'closures', by: number) => {
    telemetry.numbers[telemetry.channelAt(0) + WEAR_FIELD[field]]! += by;
  };
  const book = await begin();
  count('starts', 4);
  count('onS', 7199);
  expect(book.list().channels[0]).toMatchObject({ due: false });
  expect(book.list().channels[1]).not.toHaveProperty('due');
  expect(book.list().channels.map(({ drift }) => drift?.byDeg)).toEqual([1, undefined]);
  expect(said).toEqual([]);
  count('onS', 1);
  // Nobody asks: it is said when it is looked at for saving.
  clock.advance(600_000);
  expect(said).toEqual(['maintenance of beak is due: 2 of 2 hours']);
  count('starts', 1);
  expect(book.list().channels[0]).toMatchObject({
    due: true,
    maintain: [
      { of: 'starts', count: 5, limit: 5 },
      { of: 'hours', count: 2, limit: 2 },
    ],
  });
  await book.flush();
  const next = await begin();
  expect(next.list().channels[0]).toMatchObject({ due: true });
  expect(said).toHaveLength(1);
  await next.done('beak', 'Ann', 'new servo');
  expect(next.list().channels[0]).toMatchObject({ due: false });
  count('starts', 5);
  expect(next.list().channels[0]).toMatchObject({ due: true });
  expect(said[1]).toBe('maintenance of beak is due: 5 of 5 starts');
  // A limit that the maker raises or lowers counts from then on.
  every = { starts: 6 };
  expect(next.list().channels[0]).toMatchObject({ due: false });
  every = { starts: 4 };
  expect(next.list().channels[0]).toMatchObject({ due: true });
  expect(said).toHaveLength(3);
});
