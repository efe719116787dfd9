import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Peer } from '../system/daemon.ts';
import { NotifySocket } from '../systemd/socket.ts';
import { addRow, LONG } from './report.ts';
import { Spoilt, sleep, until } from './spoilt.ts';

const SAFE_LEVELS = fileURLToPath(new URL('../../dist/safe-levels.js', import.meta.url));
const DAY_MS = 86_400_000;
const TIMEOUT_MS = 500;
const PARK_MS = TIMEOUT_MS + 100;
/** The horn is active at a low level, so that high is safe; the arm rests at the middle of its pulses. */
const HORN_SAFE = 1;
const REST_US = 1500;

let spoilt: Spoilt | undefined;
afterEach(async () => {
  spoilt?.daemon.child.kill('SIGCONT');
  await spoilt?.cleanUp();
  spoilt = undefined;
});

const pulsesAfter = (ms: number) =>
  spoilt!.noted.filter((one) => one.pin === 'arm' && one.ms > ms).map(({ value }) => value!);

/** When parking began, by the log (ms since the epoch). */
const parkingMs = () =>
  spoilt!.entries.find(({ what, msg }) => what === 'condition' && msg.startsWith('parking'))
    ?.time ?? Number.POSITIVE_INFINITY;

/** Whether the arm, once it went home, went nowhere else: the pulses come to rest and never leave again. */
function wentHome(): boolean {
  const pulses = pulsesAfter(parkingMs() + 150);
  const distance = pulses.map((us) => Math.abs(us - REST_US));
  return distance.every((one, at) => at === 0 || one <= distance[at - 1]! + 1e-6);
}

describe('a daemon that dies or hangs, watched as systemd does', () => {
  const WATCHDOG_MS = 500;
  const SAFE_MS = 1000;
  let socket: NotifySocket;
  let run: string;
  beforeEach(() => {
    socket = new NotifySocket();
    run = mkdtempSync(join(tmpdir(), 'sinew-run-'));
  });
  afterEach(() => {
    socket.close();
    rmSync(run, { recursive: true });
  });

  /** WatchdogSec, WatchdogSignal and ExecStopPost of the unit (tests/systemd runs the real one). */
  async function watch(): Promise<void> {
    const { child } = spoilt!.daemon;
    while (child.exitCode === null && child.signalCode === null) {
      if (socket.sinceMs('WATCHDOG=1') > WATCHDOG_MS) child.kill('SIGKILL');
      await sleep(5);
    }
    const safe = spawn(process.execPath, [SAFE_LEVELS, '--force'], {
      env: { ...process.env, RUNTIME_DIRECTORY: run },
    });
    await new Promise((resolve) => safe.once('exit', resolve));
  }

  it.each([
    ['is killed (SIGKILL)', '', 'SIGKILL'],
    ['is stopped (SIGSTOP)', '', 'SIGSTOP'],
    ['has a core that spins', 'core spins', 'SIGUSR2'],
    ['has a driver whose write never returns', 'driver hangs', 'SIGUSR2'],
  ] as const)('one that %s is safe within 1 s', { timeout: 180_000 }, async (...given) => {
    const [name, fault, signal] = given;
    const tookMs: number[] = [];
    // One that is late may have shared the machine with somebody else: then the median of three counts.
    while (tookMs.length < (LONG ? 5 : 1) || (tookMs.length < 3 && Math.max(...tookMs) > SAFE_MS)) {
      spoilt = await Spoilt.start(fault, {
        env: {
          NOTIFY_SOCKET: socket.path,
          WATCHDOG_USEC: String(WATCHDOG_MS * 1000),
          RUNTIME_DIRECTORY: run,
        },
      });
      await until(() => socket.count('WATCHDOG=1') > 1);
      await spoilt.moving();
      const marker = join(run, 'safe-levels.log');
      rmSync(marker, { force: true });
      const atMs = Date.now();
      spoilt.daemon.child.kill(signal);
      await watch();
      const made = existsSync(marker) ? readFileSync(marker, 'utf8') : '';
      const all = /horn .* high/.test(made) && /arm .*no pulses/.test(made);
      tookMs.push(all ? Math.round(statSync(marker).mtimeMs - atMs) : Number.POSITIVE_INFINITY);
      await spoilt.cleanUp();
      spoilt = undefined;
      socket.received.length = 0;
    }
    const medianMs = tookMs.toSorted((a, b) => a - b)[tookMs.length >> 1]!;
    addRow({
      fault: `daemon ${name}`,
      promise: `relays safe and pulses off within ${SAFE_MS} ms, by safe-levels`,
      worst: `${tookMs.join(', ')} ms`,
      holds: medianMs <= SAFE_MS,
    });
    expect(medianMs).toBeLessThanOrEqual(SAFE_MS);
  });
});

describe('a gateway in trouble', () => {
  /** The gateway answers again, and nobody has moved anything meanwhile. */
  async function back(): Promise<Peer> {
    let peer: Peer | undefined;
    await until(async () => {
      peer = await Peer.connect(spoilt!.daemon).catch(() => undefined);
      return peer !== undefined;
    }, 20_000);
    await peer!.ask('session.open', { client: 'back' });
    return peer!;
  }

  it('that dies again and again: the prop parks once and stays parked', async () => {
    spoilt = await Spoilt.start('gateway dies');
    await spoilt.moving();
    const atMs = spoilt.bringOn();
    const deaths = () => spoilt!.entries.filter(({ what }) => what === 'gateway').length;
    await until(async () => {
      await sleep(60);
      spoilt!.bringOn();
      return deaths() >= (LONG ? 8 : 4);
    }, 60_000);
    const lastMs = Date.now();
    const peer = await back();
    const backMs = Date.now() - lastMs;
    const { condition } = await peer.ask('park', { wait: true });
    // The log may come a little after what it tells.
    await until(() => Number.isFinite(parkingMs()), 5000);
    const tookMs = parkingMs() - atMs;
    const holds = tookMs <= PARK_MS && condition === 'parked' && wentHome() && backMs <= 7000;
    addRow({
      fault: `gateway dies, ${deaths()} times in a row`,
      promise: `parking starts within ${PARK_MS} ms and nothing else moves; it is back within 7000 ms of the last`,
      worst: `${tookMs} ms; back after ${backMs} ms`,
      holds,
    });
    expect({ tookMs, condition, home: wentHome(), backMs, holds }).toMatchObject({
      holds: true,
    });
  });

  it('that runs out of memory: the prop parks, the gateway comes back, the machine keeps its memory', async () => {
    spoilt = await Spoilt.start('gateway out of memory');
    await spoilt.moving();
    const atMs = spoilt.bringOn();
    await until(() => spoilt!.entries.some(({ what }) => what === 'gateway'), 30_000);
    const peer = await back();
    const { condition } = await peer.ask('park', { wait: true });
    // The log may come a little after what it tells.
    await until(() => Number.isFinite(parkingMs()), 5000);
    const status = readFileSync(`/proc/${spoilt.daemon.child.pid}/status`, 'utf8');
    const peakMib = Number(/VmHWM:\s+(\d+)/.exec(status)![1]) / 1024;
    const tookMs = parkingMs() - atMs;
    const holds = tookMs <= PARK_MS && condition === 'parked' && wentHome() && peakMib < 600;
    addRow({
      fault: 'gateway out of memory',
      promise: `parking starts within ${PARK_MS} ms; the daemon lives on within 600 MiB`,
      worst: `${tookMs} ms; ${Math.round(peakMib)} MiB`,
      holds,
    });
    expect({ tookMs, condition, home: wentHome(), peakMib, holds }).toMatchObject({ holds: true });
  });
});

describe('a core in trouble', () => {
  it('an exception in a tick drops all power within a tick', async () => {
    spoilt = await Spoilt.start('core throws');
    await spoilt.moving();
    spoilt.bringOn();
    await sleep(500);
    const markMs = spoilt.noted.find(({ mark }) => mark)!.ms;
    const worstMs = Math.max(spoilt.since('arm', 0), spoilt.since('horn', HORN_SAFE)) - markMs;
    const health = await fetch(new URL('/health', spoilt.daemon.url));
    const { condition } = (await health.json()) as { condition: string };
    // A tick is 5 ms, and a busy machine may begin it late.
    const holds = worstMs <= 25 && condition === 'faulted' && health.status === 503;
    addRow({
      fault: 'exception in a tick of the core',
      promise: 'relays safe and pulses off in that tick (5 ms, and 20 ms of the machine); faulted',
      worst: `${worstMs.toFixed(1)} ms`,
      holds,
    });
    expect({ worstMs, condition, holds }).toMatchObject({ holds: true });
  });

  it('a bus that vanishes faults the prop; when it is back, a reset moves nothing', async () => {
    spoilt = await Spoilt.start('bus vanishes', {
      edit: (text) =>
        text
          .replace('main: { driver: sim }', 'main: { driver: sim }\n  aux: { driver: sim }')
          .replace('{ board: main, pin: 23', '{ board: aux, pin: 23'),
    });
    const holder = await spoilt.moving();
    spoilt.bringOn();
    await sleep(500);
    const markMs = spoilt.noted.find(({ mark }) => mark)!.ms;
    const tookMs = spoilt.since('horn', HORN_SAFE) - markMs;
    const still = await holder.call('reset');
    spoilt.bringOn();
    await sleep(50);
    const againMs = performance.timeOrigin + performance.now();
    const reset = await holder.ask('reset');
    await sleep(300);
    const stirred = pulsesAfter(againMs).filter((us) => us !== 0);
    await holder.ask('wake', { wait: true, confirm: 'unknown' });
    const flagged = (await spoilt.journal()).filter(({ what }) => what === 'position unknown');
    const holds =
      tookMs <= 25 &&
      still.error?.code === -32003 &&
      reset.condition === 'parked' &&
      stirred.length === 0 &&
      flagged.length === 1;
    addRow({
      fault: 'bus vanishes and returns',
      promise:
        'relays on other boards open within a tick; after the reset no pulse before a wake, which is flagged',
      worst: `${tookMs.toFixed(1)} ms; ${stirred.length} pulses`,
      holds,
    });
    expect({ tookMs, still: still.error?.code, reset, stirred, flagged: flagged.length }).toEqual({
      tookMs: expect.any(Number),
      still: -32003,
      reset: { condition: 'parked', notParked: 'nobody knows where arm stands' },
      stirred: [],
      flagged: 1,
    });
    expect(holds).toBe(true);
  });

  it('a clock that is set on and back by a day changes nothing', async () => {
    spoilt = await Spoilt.start('clock', {
      edit: (text) => text.replace('maxOnS: 20', 'maxOnS: 0.3'),
    });
    const holder = await Peer.holder(spoilt.daemon);
    const moved = holder.ask('channel.move', { channel: 'arm', to: 'up', overS: 2, wait: true });
    await sleep(400);
    spoilt.bringOn();
    await holder.ask('channel.switch', { channel: 'horn', on: true });
    await sleep(600);
    spoilt.bringOn();
    await moved;
    const pulses = spoilt.noted.filter(({ pin, value }) => pin === 'arm' && value !== REST_US);
    const offMs = Math.abs(pulses.at(-1)!.ms - pulses.find(({ value }) => value !== 0)!.ms - 2000);
    const on = spoilt.noted.filter(({ pin, value }) => pin === 'horn' && value === 0).at(-1)!;
    const onMs = spoilt.since('horn', HORN_SAFE) - on.ms;
    const entries = await spoilt.journal();
    const jumped = entries.some(({ time }) => Math.abs(Date.parse(time) - Date.now()) > 80_000_000);
    const upset = entries.filter(({ what }) => what === 'link lost' || what === 'stalled');

    // The rest that the horn needs goes by the time since the machine's start, also in the next run.
    const rests: number[] = [];
    for (const shiftMs of LONG ? [DAY_MS, -DAY_MS] : [-DAY_MS]) {
      const { folder } = spoilt.daemon;
      await spoilt.daemon.kill();
      const next = await Spoilt.start('clock', {
        folder,
        env: { SINEW_CLOCK_SHIFT_MS: String(shiftMs) },
      });
      const peer = await Peer.holder(next.daemon);
      const refused = await peer.call('channel.switch', { channel: 'horn', on: true });
      rests.push(refused.error?.code === -32007 ? Number(refused.error.data.restS ?? 1) : 0);
      spoilt = next;
    }
    const holds =
      jumped && offMs < 300 && onMs < 350 && upset.length === 0 && rests.every((one) => one > 0);
    addRow({
      fault: 'clock set on and back by a day',
      promise:
        'a move of 2 s takes its time, a relay opens after its 0.3 s and rests, over restarts as well',
      worst: `${Math.round(offMs)} ms off; on for ${Math.round(onMs)} ms`,
      holds,
    });
    expect({ jumped, offMs, onMs, upset, rests, holds }).toMatchObject({ upset: [], holds: true });
  });

  it.each([
    ['daemon stands still for 800 ms (SIGSTOP)', ''],
    ['gateway stands still for 800 ms', 'gateway stalls'],
  ])('%s: nothing of what waited meanwhile is heard', { timeout: 180_000 }, async (name, fault) => {
    spoilt = await Spoilt.start(fault);
    const { daemon } = spoilt;
    const condition = async () => {
      const health = await fetch(new URL('/health', daemon.url));
      return ((await health.json()) as { condition: string }).condition;
    };
    const move = { method: 'channel.move', params: { channel: 'arm', to: 'down' } };
    let obeyed = 0;
    let strayed = 0;
    for (let round = 0; round < (LONG ? 10 : 1); round++) {
      const peer = await Peer.holder(daemon);
      const since = (await spoilt.journal()).at(-1)!.seq;
      const fromMs = performance.timeOrigin + performance.now();
      if (fault) spoilt.bringOn();
      else daemon.child.kill('SIGSTOP');
      await sleep(100);
      for (let id = 900; id < 920; id++) {
        peer.send(JSON.stringify({ jsonrpc: '2.0', id, ...move }));
        await sleep(40);
      }
      daemon.child.kill('SIGCONT');
      await until(() => peer.closeCode !== undefined);
      await until(async () => (await condition()) === 'parked');
      const entries = (await spoilt.journal()).filter(({ seq }) => seq > since);
      expect(entries.map(({ what }) => what)).toContain('link lost');
      obeyed += entries.filter(({ what }) => what === move.method).length;
      strayed += pulsesAfter(fromMs).filter((us) => us < REST_US - 1).length;
    }
    addRow({
      fault: `${name} while its client goes on`,
      promise: 'what waited is void: no command of before is obeyed afterwards',
      worst: `${obeyed} obeyed, ${strayed} pulses towards them`,
      holds: obeyed + strayed === 0,
    });
    expect({ obeyed, strayed }).toEqual({ obeyed: 0, strayed: 0 });
  });
});
