import { parseProp } from '../../src/prop/load.ts';
import type { Prop } from '../../src/prop/schema.ts';
import type { Dice } from './dice.ts';

/**
 * The pulse step of the fine board (us): a power of two, so small that speed, acceleration and jerk
 * can be told from the pulses alone. The coarse board has the step of a real one.
 */
export const STEP_US = { main: 2 ** -22, coarse: 5 } as const;

const round = (value: number) => Number(value.toPrecision(4));

/** A small prop with everything a guard could be about; its limits differ from seed to seed. */
export function randomProp(dice: Dice): Prop {
  const draw = { idleA: 0.05, movingA: 0.4, stallA: 1 };
  const motion = (jerky: boolean) => ({
    speedDegS: round(dice.spread(25, 400)),
    accelDegS2: round(dice.spread(150, 4000)),
    ...(jerky && { jerkDegS3: round(dice.spread(2000, 60_000)) }),
    rail: 'six',
    draw,
  });
  const plain = [
    [1000, -50],
    [2000, 50],
  ];
  const out = (pin: number, board = 'main') => ({ board, pin });
  const spec = {
    sinew: 1,
    name: 'Fault prop',
    link: dice.chance(0.3)
      ? { timeoutMs: 500, onLoss: 'hold-then-park', holdS: round(dice.between(0.2, 3)) }
      : { timeoutMs: 500, onLoss: 'park' },
    stopInput: {
      board: 'main',
      pin: 4,
      normallyClosed: true,
      category: dice.whole(0, 2),
    },
    boards: { main: { driver: 'sim' }, coarse: { driver: 'sim' } },
    rails: {
      six: { volts: 6, limitA: round(dice.between(1, 2)) },
      five: { volts: 5, limitA: 0.5 },
    },
    channels: {
      neck: {
        kind: 'servo',
        output: out(5),
        calibration: plain,
        envelopeUs: [900, 2100],
        limitsDeg: [-5, 35],
        ...motion(dice.chance(0.5)),
        marks: { shut: 0, open: 30 },
        park: { to: 'shut', then: dice.pick(['hold', 'release']) },
      },
      // The angle falls as the pulse grows, with a kink.
      jaw: {
        kind: 'servo',
        output: out(6),
        calibration: [
          [1000, 40],
          [1400, 10],
          [2000, -50],
        ],
        envelopeUs: [950, 2050],
        limitsDeg: [-33.3, 36.6],
        ...motion(dice.chance(0.5)),
        marks: { shut: 0, open: 30 },
        park: { to: 'shut', then: 'release' },
      },
      tail: {
        kind: 'servo',
        output: out(7),
        calibration: plain,
        envelopeUs: [900, 2100],
        limitsDeg: [-40, 40],
        ...motion(false),
        marks: { shut: 0, open: 30 },
        park: { to: 'shut', then: 'hold' },
      },
      wing: {
        kind: 'servo',
        output: out(8),
        calibration: plain,
        envelopeUs: [900, 2100],
        limitsDeg: [-40, 40],
        ...motion(true),
        requires: [{ channel: 'tail', above: -15 }],
        marks: { shut: 10, open: 30 },
        park: { to: 'shut', then: 'release' },
      },
      flap: {
        kind: 'servo',
        output: out(9, 'coarse'),
        calibration: plain,
        envelopeUs: [900, 2100],
        limitsDeg: [-20, 40],
        ...motion(dice.chance(0.5)),
        marks: { shut: 0, open: 30 },
        park: { to: 'shut', then: dice.pick(['hold', 'release']) },
      },
      mist: {
        kind: 'relay',
        output: { ...out(10), activeLow: true },
        rail: 'five',
        draw: { onA: 0.2 },
        requires: [{ channel: 'tail', above: 20 }],
        duty: { maxOnS: round(dice.between(0.3, 2)), restS: round(dice.between(0.5, 4)) },
      },
      fan: { kind: 'relay', output: out(11), rail: 'five', draw: { onA: 0.15 } },
      pump: {
        kind: 'relay',
        output: out(12, 'coarse'),
        rail: 'five',
        draw: { onA: 0.1 },
        requires: [{ channel: 'fan', is: 'on' }],
      },
      bell: { kind: 'relay', output: out(13), contact: 'momentary', pulseMs: 60 },
      bulb: { kind: 'relay', output: out(18), light: true },
      glow: {
        kind: 'lamp',
        output: out(14),
        through: 'n-mosfet',
        rail: 'five',
        draw: { fullA: 0.1 },
        fadeS: dice.pick([0, 0.05, 0.3]),
      },
      eye: {
        kind: 'rgb',
        output: { board: 'main', pins: [15, 16, 17], common: 'anode' },
        rail: 'five',
        draw: { fullA: [0.01, 0.01, 0.01] },
        fadeS: dice.pick([0, 0.2]),
      },
    },
    groups: {
      pair: ['neck', 'wing'],
      trio: ['neck', 'jaw', 'tail'],
      all: ['flap', 'tail', 'wing'],
    },
    poses: {
      up: { neck: 20, tail: 30, fan: 'on', glow: 0.7, eye: 'orange' },
      down: { neck: 0, jaw: -10, tail: -30, fan: 'off', glow: 0, eye: 'black' },
    },
    cues: {
      sway: [
        { name: 'out', at: 0, move: { tail: 35 }, overS: 0.6, ease: 'ease-in-out' },
        { name: 'in', after: 'out', at: 0.1, move: { tail: { around: 0, spread: 25 } } },
        { after: 'in', move: { pair: 10 } },
      ],
      fog: [
        { name: 'up', at: 0, move: { tail: 35 } },
        { after: 'up', switch: { mist: 'on' }, forS: 0.4 },
        { at: 0.2, switch: { fan: 'on' }, forS: 2, colour: { eye: 'red' } },
      ],
      flicker: [
        { at: 0, dim: { glow: 1 } },
        { at: 0.05, dim: { glow: 0 } },
        { at: 0.1, colour: { eye: 'white' } },
        { at: 0.15, colour: { eye: 'black' } },
      ],
      storm: { clash: 'take over', steps: [{ at: 0, cue: 'flicker', times: 'until stopped' }] },
      watchful: [
        { name: 'see', at: 0, move: { neck: 'open' } },
        {
          after: 'see',
          until: { channel: 'tail', above: 25, withinS: 1, otherwise: dice.pick(['end', 'park']) },
        },
      ],
    },
    idle: {
      life: {
        seed: dice.whole(1, 1000),
        plays: [
          { cue: 'sway', everyS: [1, 3] },
          { cue: 'flicker', everyS: [0.5, 2] },
        ],
      },
    },
    triggers: {
      mat: { input: { board: 'main', pin: 20, debounceMs: 20 }, cue: 'sway' },
      door: { input: { board: 'main', pin: 21, debounceMs: 20 }, cue: 'fog', unattended: true },
    },
    park: { stages: [['fan'], ['neck', 'jaw'], ['wing']], deadlineS: 12 },
  };
  const loaded = parseProp(JSON.stringify(spec), 'fault prop');
  if (!loaded.prop)
    throw new Error(
      `the prop of this test is wrong: ${JSON.stringify(loaded.findings.filter(({ severity }) => severity === 'error'))}`,
    );
  return loaded.prop;
}
