import { copyFile, readdir, readFile, rename, rm, truncate, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Daemon, OWL, Peer } from './daemon.ts';

/** The prop file while the daemon runs, and what the daemon starts on. */

let daemon: Daemon;
afterEach(async () => {
  await daemon.cleanUp();
});

type Channels = Record<string, { marks: Record<string, number>; limitsDeg: [number, number] }>;

async function edit(from: string, to: string): Promise<void> {
  const text = await daemon.readProp();
  expect(text).toContain(from);
  await writeFile(daemon.propFile, text.replace(from, to));
}

async function channelsOf(peer: Peer): Promise<Channels> {
  return (await peer.ask('channel.list')).channels as Channels;
}

const BEAK_MARKS = 'marks: { shut: 0, open: 30 }';

describe('a file saved by hand', () => {
  let peer: Peer;
  beforeEach(async () => {
    daemon = await Daemon.start();
    peer = await Peer.holder(daemon);
  });

  it('takes effect at once where it changes marks, cues and names, for everybody', async () => {
    const watch = await Peer.connect(daemon);
    await watch.ask('session.open', { client: 'watch' });
    await edit(BEAK_MARKS, 'marks: { shut: 0, open: 28, half: 14 }');
    const change = await watch.changed();
    expect(change).toMatchObject({ version: expect.stringMatching(/^[0-9a-f]{16}$/) });
    expect((change.changed as string[]).join()).toMatch(/open.*beak.*30.*28/);
    expect((await channelsOf(watch)).beak!.marks).toEqual({ shut: 0, open: 28, half: 14 });
    await peer.ask('channel.move', { channel: 'beak', to: 'half', wait: true });

    const before = ((await watch.ask('cue.list')).cues as Record<string, { durationS: number }>)
      .wake!.durationS;
    const text = await daemon.readProp();
    const added = `cues:\n  greet:\n    - { at: 2, move: { beak: half } }\n`;
    await writeFile(
      daemon.propFile,
      text.replace(/^cues:\n/m, added).replace(/^name: .*$/m, 'name: Second owl'),
    );
    await watch.changed(({ changed }) => String(changed).includes('greet'));
    const { cues } = await watch.ask('cue.list');
    expect(cues).toMatchObject({ greet: { running: false }, wake: { durationS: before } });
    await peer.ask('cue.run', { cue: 'greet' });
    const health = await (await fetch(`${daemon.url}health`)).json();
    expect(health).toMatchObject({ prop: 'Second owl', condition: 'live' });
  });

  it('waits until the prop is parked where it changes limits', async () => {
    await edit('limitsDeg: [-5, 35]', 'limitsDeg: [-5, 38]');
    expect(await peer.changed()).toMatchObject({ pending: true });
    expect((await channelsOf(peer)).beak!.limitsDeg).toEqual([-5, 35]);
    expect(await peer.ask('prop.read')).toMatchObject({ pending: true });
    const { error } = await peer.call('channel.move', { channel: 'beak', to: 37 });
    expect(error).toMatchObject({ code: -32002, data: { limit: 35 } });
    await peer.ask('park', { wait: true });
    await peer.changed(({ pending }) => !pending, 1);
    expect((await channelsOf(peer)).beak!.limitsDeg).toEqual([-5, 38]);
    await peer.ask('wake', { wait: true, confirm: 'unknown' });
    await peer.ask('channel.move', { channel: 'beak', to: 37, wait: true });
  });

  it('changes nothing while it is faulty, says what is wrong, and is in use once it is mended', async () => {
    const sound = await daemon.readProp();
    await edit(BEAK_MARKS, 'marks: { shut: 0, open: 99 }');
    const news = await peer.changed(({ problem }) => problem !== undefined);
    expect(JSON.stringify(news.findings)).toMatch(/99/);
    expect((await channelsOf(peer)).beak!.marks.open).toBe(30);
    expect(await (await fetch(`${daemon.url}health`)).json()).toMatchObject({ condition: 'live' });
    // A capture must not write into a file that has an error.
    const { error } = await peer.call('mark.capture', { channel: 'beak', mark: 'here' });
    expect(error?.data.reason).toMatch(/99/);
    await writeFile(daemon.propFile, sound.replace(BEAK_MARKS, 'marks: { shut: 0, open: 29 }'));
    await peer.changed(({ changed, problem }) => !problem && /29/.test(String(changed)));
    expect((await channelsOf(peer)).beak!.marks.open).toBe(29);
  });

  it('may be half saved, cut off, gone or 10 MB: each is refused, and the prop runs on', async () => {
    const sound = await daemon.readProp();
    let from = 0;
    const refused = async (reason: RegExp) => {
      const { problem } = await peer.changed(({ problem: one }) => one !== undefined, from);
      from = peer.notices.length;
      expect(problem).toMatch(reason);
      expect((await channelsOf(peer)).beak!.marks.open).toBe(30);
    };
    await writeFile(daemon.propFile, sound.slice(0, sound.indexOf('channels:') + 200));
    await refused(/./);
    await truncate(daemon.propFile, Math.floor(sound.length / 2));
    await rm(daemon.propFile);
    await refused(/no such file|gone|missing/i);
    await writeFile(daemon.propFile, Buffer.alloc(10 * 1024 * 1024, '# much\n'));
    await refused(/1 MiB/);
    await writeFile(daemon.propFile, sound);
    await peer.changed(({ problem }) => problem === undefined, from);
    await peer.ask('channel.move', { channel: 'beak', to: 'open', wait: true });
  });

  it('is read, checked, changed and put back over the API', async () => {
    const read = await peer.ask('prop.read');
    expect(read).toMatchObject({ text: await daemon.readProp(), pending: false });
    expect(JSON.stringify(read)).not.toContain(daemon.folder);
    const { findings } = await peer.ask('prop.check', {
      text: String(read.text).replace(BEAK_MARKS, 'marks: { shut: 0, open: 99 }'),
    });
    expect(findings).toContainEqual(
      expect.objectContaining({ level: 'error', path: 'channels.beak.marks.open' }),
    );
    const applied = await peer.ask('prop.apply', {
      edits: [{ path: ['channels', 'beak', 'marks', 'wide'], value: 33 }],
      version: read.version,
    });
    expect(applied).toMatchObject({
      pending: false,
      changed: [expect.stringMatching(/wide.*beak/)],
    });
    expect(await daemon.readProp()).toContain('wide: 33');
    expect((await channelsOf(peer)).beak!.marks.wide).toBe(33);
    // A second editor who has read the version before.
    const { error } = await peer.call('prop.apply', {
      edits: [{ path: ['channels', 'beak', 'marks', 'wide'], value: 20 }],
      version: read.version,
    });
    expect(error).toMatchObject({
      code: -32003,
      data: { changed: [expect.stringMatching(/wide/)] },
    });
    const { versions } = (await peer.ask('prop.history')) as {
      versions: { version: string; who: string; current?: boolean }[];
    };
    expect(versions[0]).toMatchObject({ version: applied.version, who: 'holder', current: true });
    expect(versions.map(({ version }) => version)).toContain(read.version);
    expect(await peer.ask('prop.restore', { version: read.version })).toMatchObject({
      version: read.version,
    });
    expect(await daemon.readProp()).toBe(read.text);
    expect((await channelsOf(peer)).beak!.marks).toEqual({ shut: 0, open: 30 });
    const other = await Peer.connect(daemon);
    await other.ask('session.open', { client: 'other' });
    const without = await other.call('prop.apply', { text: read.text, version: read.version });
    expect(without.error).toMatchObject({ code: -32001 });
  });

  it('a restart is not needed for any of it: the loom and the budget follow too', async () => {
    const label = /label: (W\d+)/.exec(await daemon.readProp())![1]!;
    await edit(`label: ${label}`, 'label: W99');
    await peer.changed();
    expect((await peer.ask('loom.find', { text: 'W99' })).wires).toHaveLength(1);
    expect((await peer.ask('loom.find', { text: label })).wires).toEqual([]);
  });
});

describe('the daemon starts on what it can trust', () => {
  const ranOnce = async (): Promise<void> => {
    daemon = await Daemon.start();
    await daemon.kill('SIGTERM');
  };
  const again = async (): Promise<Peer> => {
    daemon = await Daemon.start({ folder: daemon.folder });
    const peer = await Peer.connect(daemon);
    await peer.ask('session.open', { client: 'watch' });
    return peer;
  };

  it.each([
    [
      'cut off',
      async (file: string) => {
        const text = await readFile(file, 'utf8');
        await writeFile(file, text.slice(0, text.lastIndexOf('\npark:')));
      },
      /cut off/,
    ],
    ['faulty', async (file: string) => writeFile(file, 'sinew: 1\nname: [\n'), /error/],
    ['gone', async (file: string) => rm(file), /no such file|gone|missing/i],
    ['no text', async (file: string) => writeFile(file, Buffer.from([0xff, 0xfe, 0, 1])), /UTF-8/],
  ])('the file is %s', async (_what, spoil, reason) => {
    await ranOnce();
    const sound = await daemon.readProp();
    await spoil(daemon.propFile);
    const spoilt = await readFile(daemon.propFile).catch(() => undefined);
    const peer = await again();
    expect(await (await fetch(`${daemon.url}health`)).json()).toMatchObject({
      condition: 'parked',
    });
    const read = await peer.ask('prop.read');
    expect(String(read.problem)).toMatch(reason);
    const { entries } = await peer.ask('journal.read', {});
    expect(JSON.stringify(entries)).toMatch(reason);
    // The prop can be used, and nothing has overwritten the file.
    await peer.ask('lease.take');
    await peer.ask('wake', { wait: true, confirm: 'unknown' });
    await peer.ask('channel.move', { channel: 'beak', to: 'open', wait: true });
    expect(await readFile(daemon.propFile).catch(() => undefined)).toEqual(spoilt);
    // The text in use is offered, and can be put back.
    expect(await peer.ask('prop.restore', { version: read.inUse })).toMatchObject({
      pending: false,
    });
    expect(await daemon.readProp()).toBe(sound);
  });

  it('a version was put back by hand', async () => {
    daemon = await Daemon.start();
    const peer = await Peer.holder(daemon);
    await peer.ask('channel.move', { channel: 'beak', to: 20, wait: true });
    await peer.ask('mark.capture', { channel: 'beak', mark: 'half' });
    await daemon.kill('SIGTERM');
    await copyFile(`${daemon.propFile}.~1~`, daemon.propFile);
    const next = await again();
    expect((await channelsOf(next)).beak!.marks).toEqual({ shut: 0, open: 30 });
    expect((await next.ask('prop.read')).problem).toBeUndefined();
  });

  it('its own copy is damaged: a sound file is enough', async () => {
    await ranOnce();
    const state = join(daemon.folder, 'state');
    const [copy] = (await readdir(state)).filter((name) => name.startsWith('last-known'));
    await truncate(join(state, copy!), 40);
    const peer = await again();
    expect((await peer.ask('prop.read')).problem).toBeUndefined();
  });

  it('a file that was replaced by another prop altogether is that prop', async () => {
    await ranOnce();
    const other = (await readFile(OWL, 'utf8')).replace(/^name: .*$/m, 'name: Another owl');
    await writeFile(`${daemon.propFile}.tmp`, other);
    await rename(`${daemon.propFile}.tmp`, daemon.propFile);
    await again();
    expect(await (await fetch(`${daemon.url}health`)).json()).toMatchObject({
      prop: 'Another owl',
    });
  });
});

describe('a client can audit', () => {
  it('every command has the tick that carried it out; the state counts the same ticks', async () => {
    daemon = await Daemon.start();
    const peer = await Peer.holder(daemon);
    await peer.ask('state.follow', { hz: 50 });
    const first = await peer.untilState(() => true);
    await peer.ask('channel.move', { channel: 'beak', to: 20 });
    const moving = await peer.untilState(({ channels }) => channels.beak?.target === 20);
    const { entries } = (await peer.ask('journal.read', {})) as {
      entries: { what: string; tick: number }[];
    };
    const { tick } = entries.find(({ what }) => what === 'channel.move')!;
    expect(tick).toBeGreaterThan(first.tick);
    expect(tick).toBeLessThanOrEqual(moving.tick);
    const ticks = peer.states.map((state) => state.tick);
    expect(ticks).toEqual([...ticks].sort((a, b) => a - b));
    // 5 ms a tick, or more where the machine was busy.
    const [from, to] = [peer.states[0]!, peer.states.at(-1)!];
    expect(1000 * (to.t - from.t)).toBeGreaterThan(5 * (to.tick - from.tick) - 2.5);
    await peer.ask('wake');
    const later = (await peer.ask('journal.read', {})).entries as { what: string; who: string }[];
    expect(later.at(-1)).toMatchObject({ what: 'wake', who: 'holder' });
  });

  it('the simulated board can be broken and its inputs pressed from outside', async () => {
    daemon = await Daemon.start();
    const peer = await Peer.holder(daemon);
    await peer.ask('state.follow', { hz: 50 });
    const pressed = await peer.ask('sim.set', { board: 'head', inputs: { 4: 1 } });
    expect(pressed).toMatchObject({ board: 'head', inputs: { 4: 1 } });
    const { t: pressedS } = await peer.untilState(({ condition }) => condition === 'stopped');
    await peer.ask('sim.set', { board: 'head', inputs: { 4: null } });
    // A stop stands for 2 s.
    await peer.untilState(({ t }) => t > pressedS + 3);
    await peer.ask('reset', { confirm: 'stop button' });
    await peer.ask('sim.set', { board: 'head', fault: 'the flux is gone' });
    await peer.untilState(({ condition }) => condition === 'faulted');
    expect((await peer.call('reset')).error?.data.reason).toMatch(/the flux is gone/);
    await peer.ask('sim.set', { board: 'head', fault: null });
    await peer.ask('reset');
    expect((await peer.call('sim.set', { board: 'tail' })).error).toMatchObject({ code: -32005 });
    expect((await peer.call('sim.set', { board: 'head', inputs: { 63: 1 } })).error).toMatchObject({
      code: -32005,
    });
  });
});
