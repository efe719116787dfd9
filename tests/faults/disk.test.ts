import { execFileSync, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { AcceptedCopy } from '../../src/prop/file/accepted-copy.ts';
import { History } from '../../src/prop/file/history.ts';
import { PropDisk } from '../../src/prop/file/prop-disk.ts';
import { parseProp } from '../../src/prop/load.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { truncation } from '../../src/prop/truncation.ts';
import { openProp } from '../../src/service/opening.ts';
import { FileStore } from '../../src/service/state-file.ts';
import { DAEMON, Daemon, OWL, Peer } from '../system/daemon.ts';
import { ARM } from './net.ts';
import { addRow, LONG } from './report.ts';
import { Spoilt, sleep, until } from './spoilt.ts';

const armText = readFileSync(ARM, 'utf8');
const owlText = `${readFileSync(OWL, 'utf8')}...\n`;

describe('a disk that fails', () => {
  /** A small file system of its own with the prop and its state, and a folder that is not a part of it. */
  let disk: string;
  let home: string;
  let run: string;
  let spoilt: Spoilt | undefined;
  beforeEach(() => {
    if (process.getuid?.() !== 0)
      throw new Error(
        'a small file system is needed for the faults of disks, and root to mount it. Type: sudo npm test',
      );
    disk = mkdtempSync(join(tmpdir(), 'sinew-disk-'));
    run = mkdtempSync(join(tmpdir(), 'sinew-run-'));
    execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=256k', 'tmpfs', disk]);
    home = join(disk, 'home');
    mkdirSync(join(home, 'state'), { recursive: true });
    writeFileSync(join(home, 'prop.yaml'), armText);
    const parked = {
      version: 1,
      bootId: 'an earlier one',
      settled: true,
      positions: { arm: 0 },
      duty: {},
    };
    writeFileSync(join(home, 'state/state.json'), JSON.stringify(parked));
  });
  afterEach(async () => {
    await remount('rw');
    await spoilt?.cleanUp();
    spoilt = undefined;
    execFileSync('umount', [disk]);
    for (const folder of [disk, run]) rmSync(folder, { recursive: true });
  });

  /** Busy while something is being written, as the copy of the prop file is after the start. */
  const remount = (mode: 'ro' | 'rw') =>
    until(() => spawnSync('mount', ['-o', `remount,${mode}`, disk]).status === 0);
  const filling = () => join(disk, 'filling');
  function fill(): void {
    for (let bytes = 262_144; bytes >= 1; bytes >>= 1) {
      try {
        writeFileSync(filling(), Buffer.alloc(bytes), { flag: 'a' });
      } catch (error) {
        if ((error as NodeJS.ErrnoException).code !== 'ENOSPC') throw error;
      }
    }
  }
  const start = () => Spoilt.start('', { folder: home, env: { RUNTIME_DIRECTORY: run } });
  const sinewd = () =>
    spawnSync(
      process.execPath,
      [
        ...[DAEMON, '--prop', join(home, 'prop.yaml'), '--state-dir', join(home, 'state')],
        ...['--listen', '127.0.0.1:0'],
      ],
      { encoding: 'utf8', timeout: 20_000, env: { ...process.env, RUNTIME_DIRECTORY: '' } },
    );

  it('full: the prop goes on, a capture is refused, and no position is trusted afterwards', async () => {
    spoilt = await start();
    const holder = await Peer.holder(spoilt.daemon);
    fill();
    await holder.ask('channel.move', { channel: 'arm', to: 25, wait: true });
    // Positions are noted four times a second.
    await sleep(600);
    // What a write that failed has given back is taken as well.
    fill();
    const captured = await holder.call('mark.capture', { channel: 'arm', mark: 'high' });
    const sound = readFileSync(join(home, 'prop.yaml'), 'utf8') === armText;
    await spoilt.daemon.kill();
    rmSync(filling());
    spoilt = await start();
    const next = await Peer.holder(spoilt.daemon, { live: false });
    const { channels } = (await next.ask('channel.list')) as {
      channels: { arm: { value: number; flags: string[] } };
    };
    const { value, flags } = channels.arm;
    const known = value === 25 || flags.includes('unknown');
    addRow({
      fault: 'disk full while it moves, then killed',
      promise:
        'motion goes on; a capture is refused and the prop file whole; no old position is trusted',
      worst: `capture: ${captured.error?.data.code ?? 'accepted'}; position ${flags.includes('unknown') ? 'held for unknown' : `${value} deg, stood at 25`}`,
      holds: captured.error?.data.errno === 'ENOSPC' && sound && known,
    });
    expect(captured.error).toMatchObject({ data: { errno: 'ENOSPC' } });
    expect(sound).toBe(true);
    expect(known, JSON.stringify(channels.arm)).toBe(true);
  });

  it('full at the start: a clear error, and nothing is touched', () => {
    fill();
    const { status, stderr } = sinewd();
    const clear = status === 1 && /ENOSPC.*make .* writable/.test(stderr);
    addRow({
      fault: 'disk full at the start',
      promise: 'starts, or ends with a clear error',
      worst: stderr.trim().split('\n').at(-1)!.replaceAll(home, 'DIR'),
      holds: clear,
    });
    expect(stderr).toMatch(/ENOSPC.*make .* writable/);
    expect(status).toBe(1);
  });

  it('read-only: it does not wake on a state that it could not keep true', async () => {
    spoilt = await start();
    await remount('ro');
    const holder = await Peer.holder(spoilt.daemon, { live: false });
    const { error } = await holder.call('wake', { wait: true, confirm: 'unknown' });
    const { condition } = error!.data;
    const entries = (await spoilt.journal()).filter(
      ({ what, text }) => what === 'state' && text.startsWith('the prop stays parked'),
    );
    const pulses = spoilt.noted.filter(({ pin, value }) => pin === 'arm' && value !== 0).length;
    await remount('rw');
    const later = await holder.ask('wake', { wait: true, confirm: 'unknown' });
    const refused = condition === 'parked' && /EROFS/.test(entries[0]?.text ?? '') && pulses === 0;
    addRow({
      fault: 'state folder read-only',
      promise:
        'no pulse while the state on disk could not be kept true; wakes once it can be written',
      worst: `${condition}, ${pulses} pulses; then ${later.condition}`,
      holds: refused && later.condition === 'live',
    });
    expect({ condition, pulses, text: entries[0]?.text, later }).toEqual({
      condition: 'parked',
      pulses: 0,
      text: expect.stringContaining('EROFS'),
      later: { condition: 'live' },
    });
    await holder.ask('park', { wait: true });
    await spoilt.daemon.kill();
    await remount('ro');
    const { status, stderr } = sinewd();
    addRow({
      fault: 'state folder read-only at the start, without a run-time folder',
      promise: 'starts, or ends with a clear error',
      worst: stderr.trim().split('\n').at(-1)!.replaceAll(home, 'DIR'),
      holds: status === 1 && /EROFS.*make .* writable/.test(stderr),
    });
    expect(stderr).toMatch(/EROFS.*make .* writable/);
  });
});

describe('a file cut off after every byte', () => {
  let folder: string;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'sinew-cut-'));
  });
  afterEach(() => rmSync(folder, { recursive: true }));

  it('the state: never taken for sound', async () => {
    const store = await FileStore.open(folder, () => {});
    store.save(
      {
        settled: true,
        positions: { arm: 12.5 },
        duty: { horn: { usedS: 3, on: false, changedS: 99 } },
      },
      true,
    );
    await store.flush();
    const file = join(folder, 'state.json');
    const whole = readFileSync(file);
    let trusted = 0;
    for (let bytes = 0; bytes < whole.length; bytes++) {
      writeFileSync(file, whole.subarray(0, bytes));
      if ((await FileStore.open(folder, () => {})).restored !== 'damaged') trusted++;
    }
    addRow({
      fault: 'state file cut off after every byte',
      promise: 'counts as damaged: positions unknown, relays rest first',
      worst: `${trusted} of ${whole.length} trusted`,
      holds: trusted === 0,
    });
    expect(trusted).toBe(0);
  });

  /** What decides over motion: everything but the wires. */
  const rules = ({ channels, ...prop }: Prop) =>
    JSON.stringify([
      prop.link,
      prop.rails,
      prop.stopInput,
      prop.park,
      Object.entries(channels).map(([name, { wire: _, ...channel }]) => [name, channel]),
    ]);

  /** Whether the daemon would start on `text` by other rules than those of `whole`. */
  async function startsWrong(text: string, whole: string, known: AcceptedCopy): Promise<boolean> {
    const file = join(folder, 'prop.yaml');
    writeFileSync(file, text);
    const history = new History(file, folder);
    const opened = await openProp(file, new PropDisk(file), known, history, undefined);
    if ('refused' in opened) return false;
    return rules(opened.inUse.prop) !== rules(parseProp(whole, file).prop!);
  }

  it.each([
    ['that ran before', armText, armText],
    ['with an end line, that ran before', owlText, owlText],
    [
      'with an end line, edited by hand since it ran',
      owlText.replace('accelDegS2: 600', 'accelDegS2: 500'),
      owlText,
    ],
  ])('a prop file %s: never a wrong limit', async (name, whole, ran) => {
    const known = new AcceptedCopy(join(folder, 'prop.yaml'), folder);
    await known.keep(ran);
    expect(await startsWrong(whole, whole, known)).toBe(false);
    let wrong = 0;
    for (let length = 0; length < whole.length; length++) {
      const text = whole.slice(0, length);
      // Where the copy speaks against the text, the same decision is tried at some lengths alone.
      if (truncation(text, ran) !== undefined && length % 211 !== 0) continue;
      // What ran before is as safe as the whole.
      if ((await startsWrong(text, whole, known)) && (await startsWrong(text, ran, known))) wrong++;
    }
    addRow({
      fault: `prop file ${name}, cut off after every byte`,
      promise: 'a clear error, or the whole; never a wrong limit',
      worst: `${wrong} of ${whole.length} start with other rules`,
      holds: wrong === 0,
    });
    expect(wrong).toBe(0);
  });

  it('what would have started without the copy is what the check is there for', () => {
    const valid: number[] = [];
    for (let length = 0; length < armText.length; length++) {
      const text = armText.slice(0, length);
      const { prop } = parseProp(text, 'prop.yaml');
      if (prop && rules(prop) !== rules(parseProp(armText, 'prop.yaml').prop!)) valid.push(length);
    }
    expect(valid.length).toBeGreaterThan(0);
    for (const length of valid) expect(truncation(armText.slice(0, length), armText)).toBeDefined();
  });

  it('the daemon itself says so, and goes by the accepted version until it is meant so', async () => {
    const spoilt = await Spoilt.start('', { edit: () => armText });
    try {
      const { daemon } = spoilt;
      const state = join(daemon.folder, 'state');
      await until(() => readdirSync(state).some((name) => /^last-known-\w+\.yaml$/.test(name)));
      await daemon.kill();
      // The parking stages are gone, which is valid.
      const cut = armText.slice(0, armText.indexOf('park:\n'));
      writeFileSync(daemon.propFile, cut);
      const trusting = await Daemon.start({ folder: daemon.folder });
      await until(() =>
        /prop\.yaml seems to be cut off: .*Put it back \(cp .*\.\.\./.test(trusting.log),
      );
      await trusting.kill();
      writeFileSync(daemon.propFile, `${cut}...\n`);
      const meant = await Daemon.start({ folder: daemon.folder });
      await meant.kill();
    } finally {
      await spoilt.cleanUp();
    }
  });
});

it.runIf(LONG)('a driver that does not open: the daemon ends with a clear error', async () => {
  const error = await Spoilt.start('open hangs').catch((reason: Error) => reason);
  const message = error instanceof Error ? error.message : 'it started';
  addRow({
    fault: 'driver that never opens, at the start',
    promise: 'ends with a clear error',
    worst: message.trim().split('\n').at(-1)!,
    holds: /driver of board main does not answer within 5 s/.test(message),
  });
  expect(message).toMatch(/ended with 1: .*driver of board main does not answer within 5 s/s);
});
