/** The whole daemon on the owl with driver pigpio: what its pins do, as the stand-in wrote it down. */
import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { patientOwl } from '../faults/patient.ts';
import { Bench, calls, drives, type Line, PRELOAD } from '../native/stand-in.ts';
import { Daemon, Peer } from './daemon.ts';

interface Channel {
  kind: string;
  output: { pin?: number; pins?: number[]; activeLow?: boolean; common?: string };
  through?: string;
  calibration: [number, number][];
  envelopeUs?: [number, number];
}

const TICK_MS = 5;
const SAMPLE_US = 5;
const STOP_PIN = 4;
const SIGTERM = 15;

let bench: Bench;
let daemon: Daemon;
let owl: Record<string, Channel>;

// The first bench builds the package.
beforeAll(async () => (await Bench.make()).cleanUp(), 120_000);
beforeEach(async () => {
  bench = await Bench.make();
  await bench.wire({ [STOP_PIN]: '0' }); // the stop button's contact is closed
  Object.assign(process.env, bench.env);
  // Pins are what is looked at here: a busy machine shall not cost the link.
  const text = await patientOwl();
  owl = parse(text).channels;
  const prop = join(bench.folder, 'owl.yaml');
  await writeFile(prop, text.replace('head: { driver: sim }', 'head: { driver: pigpio }'));
  daemon = await Daemon.start({ prop, nodeArgs: ['--require', PRELOAD] });
});
afterEach(async () => {
  for (const name of Object.keys(bench.env)) delete process.env[name];
  await daemon.cleanUp();
  await bench.cleanUp();
});

const servos = () => Object.entries(owl).filter(([, { kind }]) => kind === 'servo');

/** Every output pin of the owl and the level that makes it safe. */
function safeLevels(): Record<number, string> {
  const safe: Record<number, string> = {};
  // A MOSFET between conducts while its pin is high, whatever the LEDs have in common.
  for (const { output, through } of Object.values(owl))
    for (const pin of output.pins ?? [output.pin!])
      safe[pin] = output.activeLow || (output.common === 'anode' && !through) ? '1' : '0';
  return safe;
}

function atTheEnd(lines: Line[]): Record<number, string | undefined> {
  return Object.fromEntries(
    Object.keys(safeLevels()).map((pin) => [pin, drives(lines, Number(pin)).at(-1)]),
  );
}

const pulses = (lines: Line[], pin: number) =>
  drives(lines, pin).flatMap((text) => (text.startsWith('servo ') ? [Number(text.slice(6))] : []));
const violations = (lines: Line[]) => lines.filter((line) => line.violation !== undefined);
/** When a pin first does `text` after `sinceNs` (ns). */
const when = (lines: Line[], pin: number, text: string, sinceNs = 0) =>
  lines.find((line) => line.pin === pin && line.drives === text && line.ns! > sinceNs)!.ns!;

async function makeLively(): Promise<Peer> {
  const peer = await Peer.holder(daemon);
  await peer.ask('channel.switch', { channel: 'fan', on: true });
  await peer.ask('channel.colour', { channel: 'eye_left', to: 'orange' });
  await peer.ask('channel.dim', { channel: 'lantern', to: 0.5 });
  await peer.ask('channel.move', { channel: 'beak', to: 'open', wait: true });
  return peer;
}

describe('driver pigpio', () => {
  it('moves, and on SIGTERM parks, drives every pin safe and ends the library', async () => {
    await makeLively();
    const before = await bench.lines();
    daemon.child.kill('SIGTERM');
    expect(await daemon.ended()).toBe(0);
    const lines = await bench.lines();
    expect(violations(lines)).toEqual([]);
    expect(lines.filter(({ signal }) => signal === SIGTERM)).toEqual([]);

    const all = calls(lines);
    expect(all.filter((call) => call === 'gpioInitialise')).toHaveLength(1);
    expect(all.at(-1)).toBe('gpioTerminate');
    expect(all.filter((call) => call === 'gpioTerminate')).toHaveLength(1);
    expect(atTheEnd(lines)).toEqual(safeLevels());

    // The fan's relay closes once; the one for the mist, which nobody switched, never does.
    const [fan, mist] = [owl.fan!.output.pin!, owl.mist!.output.pin!];
    expect(drives(lines, fan)).toEqual(['1', '0', '1']);
    expect(drives(lines, mist)).toEqual(['1']);
    expect(drives(lines, owl.lantern!.output.pin!).some((text) => text.startsWith('pwm'))).toBe(
      true,
    );

    // Parking: the relay opens before the beak moves, and the beak ends where it is shut.
    const beak = owl.beak!.output.pin!;
    const parked = lines.slice(before.length);
    const moves = parked.filter(({ pin, drives: text }) => pin === beak && text !== '0');
    expect(moves.length).toBeGreaterThan(10);
    expect(when(parked, fan, '1')).toBeLessThan(moves[0]!.ns!);
    expect(pulses(lines, beak).at(-1)).toBe(1500);
  });

  it('sends whole samples within every envelope, without jumps', async () => {
    const peer = await makeLively();
    await peer.ask('group.move', { group: 'tail', to: 'open', wait: true });
    daemon.child.kill('SIGTERM');
    await daemon.ended();
    const lines = await bench.lines();
    for (const [name, { output, calibration, envelopeUs }] of servos()) {
      const points = calibration.map(([us]) => us);
      const [low, high] = envelopeUs ?? [Math.min(...points), Math.max(...points)];
      const sent = pulses(lines, output.pin!);
      expect(sent.length, name).toBeGreaterThan(0);
      for (const us of sent) {
        expect(us % SAMPLE_US, name).toBe(0);
        expect(us, name).toBeGreaterThanOrEqual(low);
        expect(us, name).toBeLessThanOrEqual(high);
      }
      // The fastest, 180 deg/s at 10.7 us/deg, does 9.6 us a tick; two late ticks are allowed for.
      for (let i = 1; i < sent.length; i++)
        expect(Math.abs(sent[i]! - sent[i - 1]!), name).toBeLessThanOrEqual(30);
    }
  });

  it('stops when the wire of the stop button breaks', async () => {
    const peer = await makeLively();
    await peer.ask('state.follow', { hz: 50 });
    await bench.wire({});
    await peer.untilState(({ condition }) => condition === 'stopped');
    const lines = await bench.lines();
    const seenNs = lines.find(
      ({ call, args, rc }) => call === 'gpioRead' && args![0] === STOP_PIN && rc === 1,
    )!.ns!;
    const opened = when(lines, owl.fan!.output.pin!, '1', seenNs);
    expect((opened - seenNs) / 1e6).toBeLessThan(TICK_MS);
    // Category 1, and all servos stand still: there is nothing to slow down, so the pulses end.
    for (const [name, { output }] of servos())
      expect(drives(lines, output.pin!).at(-1), name).toBe('0');
    daemon.child.kill('SIGTERM');
    expect(await daemon.ended()).toBe(0);
    expect(violations(await bench.lines())).toEqual([]);
  });
});
