import type { PinElectrics } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { baseA, baseResistor, type Coil, coilA, saturatingBaseA } from '../sums/relay-drive.ts';
import { ledMaxA } from '../sums/resistor.ts';
import type { Path } from './finding.ts';
import { lightOf, relayOf } from './kinds/channel.ts';
import { activeLow, type SwitchedChannel, switchedOf } from './kinds/polarity.ts';
import { kindOf } from './kinds/registry.ts';
import { isFedByPin, throughOf } from './kinds/through.ts';
import type { Through } from './kinds/through-words.ts';
import { railOf } from './rails.ts';
import type { Channel, Prop, RelayChannel } from './schema.ts';

/** The currents of the boards' pins, for all code: checks, budget and drawings. */

/** Current of a pin while its channel is fully on. */
export interface PinLoad {
  channel: string;
  colour?: 'red' | 'green' | 'blue';
  board: string;
  pin: number;
  /** The path of the pin in the file. */
  path: Path;
  through: Through;
  /** From the pin into the load, or from the load into the pin. */
  way: 'source' | 'sink';
  amps: number;
}

/** Input current of a relay module or driver board with an opto-coupler (A): typical, from memory. */
const INPUT_A = 0.003;
/** Minimum gain of a small transistor if the file gives none (hFE; typical, from memory). */
const GAIN = 100;

/** The electrical properties of a channel's board; undefined if there is no such board. */
export function electricsOf(prop: Prop, { output }: Channel): PinElectrics | undefined {
  if (!Object.hasOwn(prop.boards, output.board)) return undefined;
  const board = prop.boards[output.board]!;
  return factsOf(board).electrics(board);
}

/** Supply voltage of a light's LEDs (V): of its pins, as the file says, or of its rail. */
export function ledSupplyV(prop: Prop, spec: Channel, given: number | undefined) {
  if (isFedByPin(spec)) return electricsOf(prop, spec)?.highV;
  return given ?? railOf(prop, spec.rail)?.volts;
}

/** A coil with the voltage of the pin that drives its transistor. */
export function driven(prop: Prop, relay: RelayChannel, coil: NonNullable<RelayChannel['coil']>) {
  return { ...coil, driveV: coil.driveV ?? electricsOf(prop, relay)?.highV ?? 3.3 } satisfies Coil;
}

/** The current of every pin that switches something; a servo's input draws almost nothing. */
export function pinLoads(prop: Prop): PinLoad[] {
  return Object.entries(prop.channels).flatMap(([channel, spec]) => {
    const switched = switchedOf(spec);
    if (!switched) return [];
    const through = throughOf(switched);
    const way = activeLow(switched) ? 'sink' : 'source';
    const { board } = spec.output;
    const outputs = kindOf(spec).outputs(spec);
    const loadsA = currentsOf(prop, switched, through);
    return outputs.map(({ pin, at, colour }, i): PinLoad => {
      const path = ['channels', channel, 'output', ...at];
      const amps = loadsA[i] ?? 0;
      return { channel, board, pin, path, through, way, amps, ...(colour && { colour }) };
    });
  });
}

/** The current of every pin of a channel (A), in the order of its outputs. */
function currentsOf(prop: Prop, spec: SwitchedChannel, through: Through): number[] {
  const pins = kindOf(spec).outputs(spec).length;
  const relay = relayOf(spec);
  switch (through) {
    case 'driver board':
      return Array.from({ length: pins }, () => INPUT_A);
    case 'n-mosfet':
      // A gate takes charge, but no continuous current.
      return Array.from({ length: pins }, () => 0);
    case 'npn':
      if (relay?.coil) return [coilDriveA(prop, relay, relay.coil)];
      return loadCurrents(prop, spec).map((amps) => saturatingBaseA(amps, GAIN));
    case 'nothing':
      if (relay) return [relay.coil ? coilA(relay.coil) : INPUT_A];
      return loadCurrents(prop, spec);
  }
}

function coilDriveA(prop: Prop, relay: RelayChannel, spec: NonNullable<RelayChannel['coil']>) {
  const coil = driven(prop, relay, spec);
  if (coil.baseOhm !== undefined) return baseA(coil, coil.baseOhm);
  return baseResistor(coil)?.pinA ?? 0;
}

/**
 * The current at full of each colour of a light, or of a relay's load (A): the larger of the file's value
 * and that of Ohm's law with the fitted resistor. White balance shortens the pulses of a colour, but does
 * not change the current during a pulse.
 */
function loadCurrents(prop: Prop, spec: SwitchedChannel): number[] {
  const relay = relayOf(spec);
  if (relay) return [relay.coil ? coilA(relay.coil) : 0];
  const full = lightOf(spec)?.draw?.fullA;
  const fullA = typeof full === 'number' ? [full] : full;
  const leds = kindOf(spec).leds?.(spec) ?? [];
  return kindOf(spec)
    .outputs(spec)
    .map((_output, i) => {
      const led = leds[i];
      const supplyV = led && ledSupplyV(prop, spec, led.supplyV);
      const flowsA =
        led?.resistorOhm === undefined || supplyV === undefined
          ? undefined
          : ledMaxA({ ...led, supplyV }, led.resistorOhm);
      return Math.max(fullA?.[i] ?? 0, flowsA ?? (fullA ? 0 : (led?.currentA ?? 0)));
    });
}
