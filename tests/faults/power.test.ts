import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import type { Saved } from '../../src/core/store.ts';
import { AcceptedCopy } from '../../src/prop/file/accepted-copy.ts';
import { History } from '../../src/prop/file/history.ts';
import { PropDisk } from '../../src/prop/file/prop-disk.ts';
import { versionOf } from '../../src/prop/file/version.ts';
import { parseProp } from '../../src/prop/load.ts';
import type { ServoChannel } from '../../src/prop/schema.ts';
import { Keeper } from '../../src/service/keeper.ts';
import { openProp } from '../../src/service/opening.ts';
import { writePlan } from '../../src/service/safe-plan.ts';
import { FileStore } from '../../src/service/state-file.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { DiskModel, type Files } from './disk-model.ts';
import { ARM } from './net.ts';
import { addRow, LONG } from './report.ts';

const PROP = '/prop/arm.yaml';
const STATE = '/state/state.json';
const armText = readFileSync(ARM, 'utf8');

/** Looks at everything that a power cut at any moment may leave; what is wrong, once each. */
function everyCut(disk: DiskModel, look: (files: Files, at: number) => string | undefined) {
  let cuts = 0;
  const wrong = new Set<string>();
  for (let at = 0; at <= disk.now; at++)
    for (const files of disk.after(at)) {
      cuts++;
      const found = look(files, at);
      if (found !== undefined) wrong.add(found);
    }
  return { cuts, wrong: [...wrong] };
}

function report(fault: string, promise: string, { cuts, wrong }: ReturnType<typeof everyCut>) {
  addRow({
    fault: `power cut ${fault}`,
    promise,
    worst: `${wrong.length} of ${cuts} outcomes wrong${wrong[0] ? `, such as: ${wrong[0]}` : ''}`,
    holds: wrong.length === 0,
  });
  expect(wrong).toEqual([]);
  expect(cuts).toBeGreaterThan(10);
}

describe('the model itself', () => {
  it('finds what is wrong with ways to write that are known to be wrong', async () => {
    const look = (files: Files) => {
      const text = files.get(PROP)?.toString();
      return text === 'old text' || text === 'new text' ? undefined : String(text);
    };
    const inPlace = new DiskModel({ [PROP]: 'old text' });
    inPlace.edit(PROP, 'new text');
    const damage = everyCut(inPlace, look).wrong;
    expect(damage).toEqual(
      expect.arrayContaining(['', 'new ', '\0\0\0\0text', 'new text'.slice(0, 4)]),
    );

    const withoutFsync = new DiskModel({ [PROP]: 'old text' });
    const { open, rename } = withoutFsync.promises;
    await (await open('/prop/new', 'w')).writeFile('new text');
    await rename('/prop/new', PROP);
    expect(everyCut(withoutFsync, look).wrong).toContain('');

    const withFsync = new DiskModel({ [PROP]: 'old text' });
    const handle = await withFsync.promises.open('/prop/new', 'w');
    await handle.writeFile('new text');
    await handle.sync();
    await withFsync.promises.rename('/prop/new', PROP);
    expect(everyCut(withFsync, look).wrong).toEqual([]);
    // The name is not there for good yet.
    const last = [...withFsync.after(withFsync.now)].map((files) => files.get(PROP)!.toString());
    expect(new Set(last)).toEqual(new Set(['old text', 'new text']));
  });
});

describe('the prop file', () => {
  const BY = { session: 's', client: 'c', what: 'a test' };

  /** A keeper on a disk of the model, and a core that takes over every change but what `refuses` names. */
  async function keeperOn(disk: DiskModel, refuses: () => boolean = () => false) {
    const keeper = new Keeper(
      PROP,
      new VirtualClock(),
      {
        change: (message) => {
          if (message.t === 'begin')
            queueMicrotask(() =>
              keeper.outcome(message.id, refuses() ? { rejected: 'no such pin' } : 'adopted'),
            );
        },
        status: () => {},
        journal: () => {},
        trouble: (error) => {
          throw error;
        },
      },
      new Set(),
      disk.promises,
    );
    const { refused } = await keeper.open(PROP, '/state', undefined);
    expect(refused).toBeUndefined();
    keeper.begin();
    await keeper.flush();
    return keeper;
  }

  /** Captures, one undone, a version put back, and one that the boards reject. */
  async function write(changes: number) {
    const disk = new DiskModel({ [PROP]: armText }, ['/state']);
    let refuses = false;
    const keeper = await keeperOn(disk, () => refuses);
    const texts = [armText];
    /** Texts that may have been acknowledged, with the point in time from which on they must be there. */
    const acknowledged = [{ at: disk.now, marks: {} as Record<string, number> }];
    const marks: Record<string, number> = { down: -30, up: 30, rest: 0 };
    const done = async () => {
      texts.push(disk.read(PROP).toString());
      // What nobody waits for comes in between, as it may.
      await keeper.flush();
    };
    for (let change = 0; change < changes; change++) {
      const name = `mark_${change % 4}`;
      const path = ['channels', 'arm', 'marks', name];
      await keeper.capture([{ path, value: change }], BY);
      marks[name] = change;
      acknowledged.push({ at: disk.now, marks: { ...marks } });
      await done();
    }
    const { undone } = await keeper.undo(BY);
    expect(undone).toContain('mark_');
    await done();
    await keeper.restore(versionOf(texts.at(-2)!), undefined, BY);
    await done();
    // The file is the beginning of what was accepted before.
    const shorter = texts.at(-1)!;
    await keeper.apply({ text: `${shorter}# more\n` }, versionOf(shorter), BY);
    await done();
    await keeper.restore(versionOf(shorter), undefined, BY);
    await done();
    refuses = true;
    const rejected = `${texts.at(-1)}# one more line\n`;
    const applied = keeper.apply({ text: rejected }, versionOf(texts.at(-1)!), BY);
    await expect(applied).rejects.toThrow(/the file is as it was before/);
    texts.push(rejected);
    await keeper.flush();
    expect(disk.read(PROP).toString()).toBe(texts.at(-2));
    keeper.close();
    return { disk, texts, acknowledged };
  }

  /** Starts on what is left, as the next run of the daemon would; the text that it goes by. */
  const starts = new Map<string, Promise<string | undefined>>();
  function startOn(files: Files): Promise<string | undefined> {
    const texts = Object.fromEntries([...files].map(([path, bytes]) => [path, bytes.toString()]));
    const key = JSON.stringify(texts);
    let started = starts.get(key);
    if (!started) {
      started = (async () => {
        const disk = new DiskModel(texts, ['/prop', '/state']);
        const { promises } = disk;
        const history = new History(PROP, '/state', promises);
        await history.read();
        const known = new AcceptedCopy(PROP, '/state', promises);
        const at = new PropDisk(PROP, promises);
        const opened = await openProp(PROP, at, known, history, undefined);
        return 'refused' in opened || opened.problem !== undefined ? undefined : opened.inUse.text;
      })();
      starts.set(key, started);
    }
    return started;
  }

  it('no mark is lost once it was acknowledged, no file is half, the versions are whole', async () => {
    const { disk, texts, acknowledged } = await write(LONG ? 40 : 13);
    const known = new Set(texts);
    const marksOf = new Map(
      texts.map((text) => {
        const { arm } = parseProp(text, PROP).prop!.channels;
        return [text, (arm as ServoChannel).marks!];
      }),
    );
    const undoFrom = acknowledged.at(-1)!.at;
    const found = everyCut(disk, (files, at) => {
      const text = files.get(PROP)?.toString();
      if (text === undefined || !known.has(text)) return `the prop file is ${text?.slice(0, 40)}`;
      const index = acknowledged.findLastIndex((one) => one.at <= at);
      const must = acknowledged[index]?.marks ?? {};
      // An undo that is under way may have taken the last one back.
      if (at <= undoFrom)
        for (const [name, deg] of Object.entries(must)) {
          const later = acknowledged[index + 1]?.marks[name];
          const is = marksOf.get(text)![name];
          if (is !== deg && is !== later) return `${name} is ${is}, acknowledged as ${deg}`;
        }
      const versions = [...files].filter(([path]) => path.startsWith(`${PROP}.~`));
      const half = versions.find(([, bytes]) => !known.has(bytes.toString()));
      if (half) return `version ${half[0]} is half`;
      const least = Math.min(index, 10);
      if (versions.length < least) return `${versions.length} versions after ${index} changes`;
      return undefined;
    });
    report(
      'while marks are captured',
      'no acknowledged mark lost, no half prop file, versions whole',
      found,
    );
  });

  it('killed or cut off at any step, the next start goes by the file as it is', async () => {
    const { disk, texts } = await write(3);
    const wrong = new Set<string>();
    let cuts = 0;
    for (let at = 0; at <= disk.now; at++)
      for (const files of disk.after(at)) {
        cuts++;
        const started = await startOn(files);
        const text = files.get(PROP)?.toString();
        if (started === undefined) wrong.add(`step ${at}: it does not start on the file`);
        else if (started !== text || !texts.includes(started)) wrong.add(`step ${at}: other text`);
      }
    report('while the file is changed, then a start', 'starts on the file, whole', {
      cuts,
      wrong: [...wrong],
    });
  });

  it('the copy by which a cut-off file is found out is whole or not there', async () => {
    const disk = new DiskModel({ [PROP]: armText }, ['/state']);
    const known = new AcceptedCopy(PROP, '/state', disk.promises);
    const newer = armText.replace('120', '110');
    await known.keep(armText);
    const kept = disk.now;
    await known.keep(newer);
    const found = everyCut(disk, (files, at) => {
      const copies = [...files].filter(([path]) => /^\/state\/last-known-\w+\.yaml$/.test(path));
      if (at >= kept && copies.length === 0) return 'no copy';
      const half = copies.find(([, bytes]) => ![armText, newer].includes(bytes.toString()));
      return half && `a copy of ${half[1].length} bytes`;
    });
    report('while the copy of the prop file is kept', 'the copy is whole', found);
  });
});

describe('the state', () => {
  const state = (settled: boolean, arm: number): Saved => ({
    settled,
    positions: { arm },
    duty: { horn: { usedS: arm, on: false, changedS: 1 } },
  });

  it('what was noted for good is never older than that; half of it is never trusted', async () => {
    const disk = new DiskModel({}, ['/state']);
    const store = await FileStore.open('/state', () => {}, disk.promises);
    // A life: parked, woken, moved (in passing), parked, woken, moved. By position; the even ones rest.
    const lives = LONG ? 12 : 4;
    const noted: { at: number; step: number }[] = [];
    const steps: Saved[] = [];
    const save = async (next: Saved, durable: boolean) => {
      steps.push(next);
      store.save(next, durable);
      await store.flush();
      expect(store.noted).toBe('yes');
      if (durable) noted.push({ at: disk.now, step: steps.length - 1 });
    };
    for (let life = 0; life < lives; life++) {
      await save(state(true, 10 * life), true);
      await save(state(false, 10 * life), true);
      // Between two that last, only so many can be tried with every order.
      await save(state(false, 10 * life + 3), false);
      await save(state(false, 10 * life + 6), false);
    }
    const texts = steps.map((one) => JSON.stringify(one));
    const found = everyCut(disk, (files, at) => {
      const text = files.get(STATE)?.toString();
      const must = noted.findLast((one) => one.at <= at)?.step ?? -1;
      if (text === undefined) return must >= 0 ? 'the state is gone' : undefined;
      let saved: Record<string, unknown>;
      try {
        saved = JSON.parse(text);
      } catch {
        // Held for damaged, which is safe.
        return undefined;
      }
      const { version: _, bootId: __, ...rest } = saved;
      const step = texts.indexOf(JSON.stringify(rest));
      if (step < 0) return `a state that nobody saved: ${text}`;
      return step < must ? `state ${step}, although ${must} was noted for good` : undefined;
    });
    report('while the state is noted', 'never an older state than the one noted for good', found);
  });

  it('is not trusted when it could be emptied only', async () => {
    const disk = new DiskModel({}, ['/state']);
    let full = false;
    const { open, ...rest } = disk.promises;
    const store = await FileStore.open('/state', () => {}, {
      ...rest,
      open: (...[path, flags, mode]: Parameters<typeof open>) =>
        full && flags === 'w' ? Promise.reject(new Error('ENOSPC')) : open(path, flags, mode),
    });
    store.save(state(true, 0), true);
    await store.flush();
    full = true;
    store.save(state(false, 0), true);
    await store.flush();
    expect(store.noted).toBe('yes');
    const left = [...disk.after(disk.now)].map((files) => files.get(STATE)!.toString());
    const holds = left.every((text) => text === '');
    addRow({
      fault: 'power cut after a note on a full disk',
      promise: 'the old state is not trusted any more',
      worst: `${left.filter((text) => text !== '').length} of ${left.length} outcomes trusted`,
      holds,
    });
    expect(holds).toBe(true);
  });
});

it('the plan of safe-levels is whole or the one before', async () => {
  const disk = new DiskModel({}, ['/run']);
  const plan = (prop: string) => ({
    version: 1 as const,
    prop,
    // No process has this id (PID_MAX_LIMIT, linux/threads.h): its life is not looked up.
    daemon: { pid: 99_999_999, startTicks: 1, bootId: 'b' },
    boards: [],
  });
  for (const prop of ['one', 'two', 'three']) await writePlan(plan(prop), '/run', disk.promises);
  const whole = ['one', 'two', 'three'].map((prop) => `${JSON.stringify(plan(prop))}\n`);
  const found = everyCut(disk, (files) => {
    const text = files.get('/run/safe-plan.json')?.toString();
    return text === undefined || whole.includes(text) ? undefined : `half a plan: ${text}`;
  });
  report('while the plan is written', 'a whole plan, or none', found);
});
