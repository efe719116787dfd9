import { parseColour, type Rgb, srgbToLinear } from '../../sums/light.ts';
import { type Path, show } from '../finding.ts';
import type { Notes } from '../notes.ts';
import type { Kind } from './kind.ts';
import { maxParkFadeS } from './light-parts.ts';
import { average, steady } from './meter.ts';
import { activeLow } from './polarity.ts';
import type { RgbChannel } from './rgb-schema.ts';
import { lightCores } from './through.ts';

const COLOURS = ['red', 'green', 'blue'] as const;
const RESISTORS = ['resistors'] as const;
const DARK: Rgb = { red: 0, green: 0, blue: 0 };

/** Currents of red, green and blue at full duty, white balance included (A). */
export function rgbFullA({ draw, whiteBalance }: RgbChannel): [number, number, number] {
  const [red, green, blue] = draw?.fullA ?? [0, 0, 0];
  return [red * whiteBalance[0], green * whiteBalance[1], blue * whiteBalance[2]];
}

/** Current (A) of an rgb light at these amounts of linear light, 0 to 1. */
export function rgbA(
  fullA: readonly [number, number, number],
  red: number,
  green: number,
  blue: number,
): number {
  return fullA[0] * red + fullA[1] * green + fullA[2] * blue;
}

/** The brightest part of a colour, 0 to 1. */
function levelOf(to: number | string): number {
  const { red, green, blue } = rgbOf(to);
  return Math.max(red, green, blue);
}

function rgbOf(to: number | string): Rgb {
  return parseColour(String(to)) ?? DARK;
}

/** Checks that a value is a CSS colour. */
export function checkColour(notes: Notes, value: number | string, path: Path): void {
  if (notes.given.broken(path) || parseColour(String(value))) return;
  notes.error(
    path,
    `${show(value)} is not a colour`,
    'give a CSS colour in quotes, e.g. "#ff8800", "orange" or "oklch(75% 0.15 80)"',
  );
}

export const rgb: Kind<RgbChannel> = {
  value: 'colour',
  part: 'colour',
  moves: false,
  levels: COLOURS,
  switches: false,
  needs: 'PWM',
  unlikelyA: 15, // 20 is the usual LED in mA
  words: {
    part: 'light',
    busy: 'full on',
    used: 'lit',
    unused: 'dark',
    release: (name) => `make ${name} dark`,
    cores:
      'three colours share one plus (common: anode) or one return (common: cathode), and what lies between has both',
  },
  faults: {
    symptoms: ['dead', 'dim', 'stays-on'],
    rulesOut: () => [],
    levels: (channel, name, role) => {
      const which = (COLOURS as readonly string[]).indexOf(role.toLowerCase());
      const gain = channel.whiteBalance[which] ?? 1;
      const low = activeLow(channel);
      const white = low ? 1 - gain : gain;
      return [
        {
          command: `sinew colour ${name} white`,
          ...(gain === 1 ? steady(!low) : average(white)),
        },
        { command: `sinew colour ${name} black`, ...steady(low) },
      ];
    },
    full: (name) => `sinew colour ${name} white`,
    off: (name) => `sinew colour ${name} black`,
  },
  light: {
    colour: (to) => (typeof to === 'string' ? rgbOf(to) : undefined),
    linear: srgbToLinear,
    flicker: ({ flicker }) => flicker,
    ampsAt: (channel, { red, green, blue }) =>
      rgbA(rgbFullA(channel), srgbToLinear(red), srgbToLinear(green), srgbToLinear(blue)),
  },
  outputs: ({ output: { pins } }) =>
    pins.map((pin, i) => ({ pin, at: ['pins', i], colour: COLOURS[i]! })),
  cores: lightCores,
  draw: (channel) => {
    const pinsA = rgbFullA(channel);
    const busyA = pinsA[0] + pinsA[1] + pinsA[2];
    const { red, green, blue } = rgbOf(channel.park.to);
    const idleA = rgbA(pinsA, srgbToLinear(red), srgbToLinear(green), srgbToLinear(blue));
    return { idleA, busyA, stallA: busyA, pinsA };
  },
  glow: ({ light, flash }) => ({ weight: light, unrestricted: flash !== undefined }),
  leds: ({ led }) =>
    led
      ? COLOURS.map((colour, i) => ({
          colour,
          ...{ spreadV: led.spreadV, currentA: led.currentA, supplyV: led.supplyV },
          forwardV: led.forwardV[i]!,
          resistorOhm: led.resistorOhm?.[i],
        }))
      : [],
  usedAt: (_channel, value) => levelOf(value) > 0,
  meets: () => undefined,
  maxParkS: ({ fadeS, park }) => maxParkFadeS(fadeS, levelOf(park.to)),
  check: (notes, name, channel) =>
    checkColour(notes, channel.park.to, ['channels', name, 'park', 'to']),
  checkPose: (notes, _name, _channel, value, path) => checkColour(notes, value, path),
  measurable: ({ led }) => ['colours', 'white', ...(led?.resistorOhm ? RESISTORS : [])],
  info: ({ park, fadeS, whiteBalance, led }) => ({
    ...{ park: { to: park.to }, fadeS },
    whiteBalance: [...whiteBalance],
    ...(led && { led }),
  }),
};
