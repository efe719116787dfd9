import { tidy } from '../../shared/units.ts';
import { lightnessToLuminance } from '../../sums/light.ts';
import { show } from '../finding.ts';
import { percentOf } from '../slips.ts';
import type { Kind } from './kind.ts';
import type { LampChannel } from './lamp-schema.ts';
import { maxParkFadeS } from './light-parts.ts';
import { steady } from './meter.ts';
import { activeLow } from './polarity.ts';
import { lightCores } from './through.ts';

/** Current of a lamp at full (A). */
export function lampFullA({ draw }: Pick<LampChannel, 'draw'>): number {
  return draw?.fullA ?? 0;
}

/** Current (A) of a lamp at a perceived lightness, 0 to 1. */
export function lampA(fullA: number, lightness: number): number {
  return fullA * lightnessToLuminance(lightness);
}

export const lamp: Kind<LampChannel> = {
  value: 'lightness',
  part: 'dim',
  moves: false,
  levels: ['level'],
  switches: false,
  needs: 'PWM',
  unlikelyA: 15, // 20 is the usual LED in mA
  words: {
    part: 'lamp',
    busy: 'full on',
    used: 'lit',
    unused: 'dark',
    release: (name) => `make ${name} dark`,
    cores: 'the current has to come back',
  },
  faults: {
    symptoms: ['dead', 'dim', 'stays-on'],
    rulesOut: () => [],
    levels: (channel, name) => [
      { command: `sinew dim ${name} 1`, ...steady(!activeLow(channel)) },
      { command: `sinew dim ${name} 0`, ...steady(activeLow(channel)) },
    ],
    full: (name) => `sinew dim ${name} 1`,
    off: (name) => `sinew dim ${name} 0`,
  },
  light: {
    colour: (to) => (typeof to === 'number' ? { red: to, green: to, blue: to } : undefined),
    linear: lightnessToLuminance,
    flicker: ({ flicker }) => flicker,
    ampsAt: (channel, { red }) => lampA(lampFullA(channel), red),
  },
  outputs: ({ output: { pin } }) => [{ pin, at: ['pin'] }],
  cores: lightCores,
  draw: (channel) => {
    const busyA = lampFullA(channel);
    return { idleA: lampA(busyA, channel.park.to), busyA, stallA: busyA, pinsA: [busyA] };
  },
  glow: ({ light, flash }) => ({ weight: light, unrestricted: flash !== undefined }),
  leds: ({ led }) => (led ? [{ ...led, resistorOhm: led.resistorOhm, supplyV: led.supplyV }] : []),
  usedAt: (_channel, value) => Number(value) > 0,
  meets: () => undefined,
  maxParkS: ({ fadeS, park }) => maxParkFadeS(fadeS, park.to),
  check: () => {},
  checkPose: (notes, name, _channel, value, path) => {
    if (typeof value === 'number' && value >= 0 && value <= 1) return;
    const share = percentOf(value);
    const right = share === undefined ? 'give 0 to 1' : `write ${share} for ${tidy(share * 100)} %`;
    notes.error(path, `${show(value)} is not a level, and ${name} is a lamp`, right);
  },
  measurable: ({ led }) => (led?.resistorOhm === undefined ? [] : ['resistors']),
  info: ({ park, fadeS, led }) => ({ park: { to: park.to }, fadeS, ...(led && { led }) }),
};
