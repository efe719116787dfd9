import type { PinElectrics } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { tidy } from '../shared/units.ts';
import { coilA } from '../sums/relay-drive.ts';
import type { Path } from './finding.ts';
import { type LightChannel, lightOf, relayOf } from './kinds/channel.ts';
import { activeLow, type SwitchedChannel, switchedOf } from './kinds/polarity.ts';
import { kindOf } from './kinds/registry.ts';
import { isFedByPin, throughOf } from './kinds/through.ts';
import { isLowSide } from './kinds/through-words.ts';
import { grouped } from './loom-words.ts';
import type { Notes } from './notes.ts';
import { electricsOf, ledSupplyV, type PinLoad, pinLoads } from './pin-load.ts';
import type { Channel, RelayChannel } from './schema.ts';

/**
 * Checks pins electrically: their currents and voltages, pull resistors, and what is between pin and
 * load.
 */
export function lintPins(notes: Notes): void {
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const switched = switchedOf(channel);
    if (!switched || isBroken(notes, name)) continue;
    lintThrough(notes, name, switched);
    const light = lightOf(channel);
    if (!light || throughOf(light) !== 'nothing') continue;
    lintPull(notes, name, light);
    lintRail(notes, name, light);
  }
  const loads = pinLoads(notes.prop).filter(({ channel }) => !isBroken(notes, channel));
  // A broken channel's current is unknown, and a sum without it is meaningless.
  for (const [, all] of grouped(loads, ({ channel }) => channel)) lintLoads(notes, all);
  // A pin that has an error already is not reported again as part of the sum.
  lintSums(
    notes,
    loads.filter(({ channel }) => !notes.hasErrorIn(['channels', channel])),
  );
}

function isBroken({ given }: Notes, name: string): boolean {
  return ['output', 'through', 'wire', 'draw', 'led', 'coil', 'rail'].some((key) =>
    given.broken(['channels', name, key]),
  );
}

const mA = (amps: number) => `${tidy(1000 * amps, 1)} mA`;
const V = (volts: number) => `${tidy(volts, 2)} V`;

/** How to get the current off the pin. */
const TRANSISTOR = 'switch it through a transistor: through: n-mosfet';

// --- what lies between ------------------------------------------------------------------------------

function lintThrough(notes: Notes, name: string, channel: SwitchedChannel): void {
  const at = ['channels', name];
  const { through } = channel;
  if ('common' in channel.output) {
    if (isLowSide(through) && channel.output.common === 'cathode')
      notes.error(
        [...at, 'through'],
        `an ${through} switches to ground, and the LEDs of ${name} have their cathodes in common: it cannot light them one by one`,
        'use LEDs with common: anode, or a driver board that switches the plus: through: driver board',
      );
    if (channel.output.activeLow !== undefined && through !== 'driver board')
      notes.error(
        [...at, 'output', 'activeLow'],
        `what level lights ${name} follows from common${through ? ' and through' : ''}`,
        'remove activeLow, or write through: driver board if there is one',
      );
  } else if (isLowSide(through) && channel.output.activeLow)
    notes.error(
      [...at, 'output', 'activeLow'],
      `an ${through} conducts while its pin is high, so a low level cannot switch ${name} on`,
      'remove activeLow, or write through: driver board if its input is low when on',
    );
  const relay = relayOf(channel);
  if (relay) lintCoilOnPin(notes, name, relay);
}

function lintCoilOnPin(notes: Notes, name: string, { through, coil }: RelayChannel): void {
  const at = ['channels', name];
  if (!coil) return;
  const amps = mA(coilA(coil));
  if (through === 'nothing')
    notes.error(
      [...at, 'through'],
      `the coil of ${name} takes ${amps} and kicks back when it is switched off: directly on a pin it destroys the board`,
      'write through: npn or through: n-mosfet, with a diode across the coil, or use a relay module',
    );
  else if (
    through === undefined &&
    coil.baseOhm === undefined &&
    coil.driveV === undefined &&
    !notes.given.has([...at, 'coil', 'gain'])
  )
    notes.warning(
      [...at, 'coil'],
      `the file does not say what lies between the pin and the coil of ${name} (${amps}): directly on a pin it destroys the board`,
      'write through: npn (with its base resistor and a diode across the coil), n-mosfet or driver board',
    );
}

/**
 * A pull resistor in the wrong direction makes LEDs on the pin glow; the chip's own pull is too weak for
 * that.
 */
function lintPull(notes: Notes, name: string, channel: LightChannel): void {
  const lights = activeLow(channel) ? 'down' : 'up';
  if (channel.output.pull !== lights) return;
  notes.warning(
    ['channels', name, 'output', 'pull'],
    `this resistor pulls the pin toward the level that lights ${name}`,
    `remove it, or fit it the other way: pull: ${lights === 'up' ? 'down' : 'up'}`,
  );
}

// --- volts ------------------------------------------------------------------------------------------

/** If the file has no LED: a red one, the lowest forward voltage in common use (V; typical, from memory). */
const LEAST_FORWARD_V = 1.8;
/**
 * Above this, an LED between supply and pin gives no protection: it leaks long before it lights, and may
 * fail short (V; common practice, no source).
 */
const SURELY_V = 5.5;
const ROUNDING_V = 1e-9;

/** With a common anode, or a lamp from plus to the pin, the supply reaches the pin through the LED. */
function lintRail(notes: Notes, name: string, channel: LightChannel): void {
  const electrics = electricsOf(notes.prop, channel);
  if (!electrics) return;
  const { highV } = electrics;
  const given = channel.led?.supplyV;
  if (isFedByPin(channel)) {
    if (given !== undefined && Math.abs(given - highV) > 0.01)
      notes.warning(
        ['channels', name, 'led', 'supplyV'],
        `the pins feed ${name} with ${V(highV)}, so ${V(given)} cannot be its supply`,
        'remove supplyV, or say what lies between: through: driver board',
      );
    return;
  }
  const supplyV = ledSupplyV(notes.prop, channel, given);
  if (supplyV === undefined) return;
  const path: Path =
    given === undefined ? ['channels', name, 'rail'] : ['channels', name, 'led', 'supplyV'];
  const leds = kindOf(channel).leds?.(channel) ?? [];
  const dropV =
    leds.length > 0
      ? Math.min(...leds.map(({ forwardV, spreadV }) => forwardV - spreadV))
      : LEAST_FORWARD_V;
  // The pin's voltage while the LED barely conducts.
  const leftV = supplyV - dropV;
  const destroys = supplyV > SURELY_V || leftV > highV + ROUNDING_V;
  if (destroys && supplyV > electrics.maxInputV + ROUNDING_V)
    notes.error(
      path,
      `${V(supplyV)} reach a pin of ${V(highV)} through the LEDs of ${name}: they are lit while they should be dark, and the pin is destroyed`,
      `${TRANSISTOR}, or feed the LEDs with ${V(highV)}`,
    );
  else if (supplyV > highV + ROUNDING_V)
    notes.warning(
      path,
      `the LEDs of ${name} are connected between ${V(supplyV)} and a pin that is ${V(highV)} when they are dark: they may glow, and current leaks into the pin`,
      `${TRANSISTOR}, or feed the LEDs with ${V(highV)}`,
    );
}

// --- amperes ----------------------------------------------------------------------------------------

/** This multiple of the limit destroys a pin for certain, and at once (common practice, no source). */
const DESTROYS = 2;

function limitA({ sourceA, sinkA }: PinElectrics, { way }: PinLoad): number {
  return way === 'source' ? sourceA : sinkA;
}

/** One finding per channel: for the pin that carries most. */
function lintLoads(notes: Notes, loads: readonly PinLoad[]): void {
  const [load, ...others] = loads.toSorted((a, b) => b.amps - a.amps);
  const { channel, colour, path, amps, way, through } = load!;
  const spec = notes.prop.channels[channel]!;
  const electrics = electricsOf(notes.prop, spec);
  // A coil has findings of its own: about its base resistor, or a missing transistor.
  if (!electrics || relayOf(spec)?.coil) return;
  const mostA = limitA(electrics, load!);
  const isAbove = (one: number) => one > mostA * (1 + 1e-9);
  if (!isAbove(amps)) return;
  const who = colour ? `${channel}.${colour}` : channel;
  const more = others.filter((one) => isAbove(one.amps)).length;
  const also = more > 0 ? ` (and ${more} more of its pins too much)` : '';
  const does = way === 'source' ? 'give' : 'take';
  const [wrong, right] =
    through === 'npn'
      ? [
          `to switch ${who} through an npn the pin would have to give ${mA(amps)}: it may give ${mA(mostA)}`,
          'use through: n-mosfet, or a driver board',
        ]
      : [
          `the pin would have to ${does} the ${mA(amps)} of ${who}: it may ${does} ${mA(mostA)}`,
          `${remedyOf(spec)}, or reduce the current`,
        ];
  if (amps > DESTROYS * mostA) notes.error(path, `${wrong}${also}`, right);
  else notes.warning(path, `${wrong}${also}`, right);
}

/** A switch to ground cannot light LEDs with a common cathode. */
function remedyOf(spec: Channel): string {
  if ('common' in spec.output && spec.output.common === 'cathode')
    return 'use a driver board that switches the plus (through: driver board), or LEDs with common: anode and through: n-mosfet';
  return `${TRANSISTOR} (or npn, or driver board)`;
}

function lintSums(notes: Notes, loads: readonly PinLoad[]): void {
  const spaces = grouped(loads, ({ board }) =>
    Object.hasOwn(notes.prop.boards, board)
      ? factsOf(notes.prop.boards[board]!).pinSpace(board)
      : undefined,
  );
  for (const [, all] of spaces) {
    const { board } = all[0]!;
    const { sumA } = factsOf(notes.prop.boards[board]!).electrics(notes.prop.boards[board]!);
    const amps = all.reduce((sum, load) => sum + load.amps, 0);
    if (amps <= sumA * (1 + 1e-9)) continue;
    const by = [...grouped(all, ({ channel }) => channel)].map(
      ([channel, some]) => [channel, some.reduce((sum, load) => sum + load.amps, 0)] as const,
    );
    const most = by.sort((a, b) => b[1] - a[1]).slice(0, 3);
    notes.warning(
      ['boards', board],
      `the pins of ${board} carry ${mA(amps)} together when all is on, and their limit is about ${mA(sumA)} (most: ${most.map(([one, its]) => `${one} ${mA(its)}`).join(', ')})`,
      'switch the largest of them through a transistor: through: n-mosfet, or through: driver board',
    );
  }
}
