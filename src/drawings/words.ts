import type { Bundle } from '../prop/bundles.ts';
import type { LoomWire } from '../prop/loom.ts';
import type { MeasuringPart } from '../prop/measuring-path.ts';
import type { BoardInfo } from '../prop/pins.ts';
import { tidy } from '../shared/units.ts';
import { wireColourName } from '../sums/wire-colours.ts';

/** The words of captions, legends and columns: the same on the page, on paper and in a picture. */

/** The kinds of pins, in the words of the legend. */
export const PIN_KINDS = {
  used: 'used',
  free: 'free',
  reserved: 'reserved by the board',
  power: 'power',
  ground: 'ground',
} as const;

/** The caption of a board with this many slots. */
export function boardCaption({ header }: BoardInfo, slots: number): string {
  if (header) return 'The 40-pin header, seen from above, pin 1 at the top left.';
  return `The ${slots} outputs.`;
}

/** `Pins of head (pigpio), connector J1`. */
export function boardTitle(name: string, driver: string, connector?: string): string {
  const at = connector === undefined ? '' : `, connector ${connector}`;
  return `Pins of ${name} (${driver})${at}`;
}

const INPUTS: Readonly<Record<string, string>> = {
  stopInput: 'stop input',
  lockoutInput: 'lockout input',
};

/** The use of a pin in the prop file, in words; a channel keeps its own name. */
export function useText(use: string): string {
  return Object.hasOwn(INPUTS, use) ? INPUTS[use]! : use;
}

/** `1 wire`, `16 wires`. */
export function wireCount(count: number): string {
  return `${count} ${count === 1 ? 'wire' : 'wires'}`;
}

/** `30 wires, 27 connectors. Colour codes: IEC 60757.` */
export function loomCaption(wires: number, connectors: number): string {
  const all = `${connectors} ${connectors === 1 ? 'connector' : 'connectors'}`;
  return `${wireCount(wires)}, ${all}. Colour codes: IEC 60757.`;
}

/** `24 AWG` or `0.25 mm²`; empty if the prop file gives neither. */
export function gauge({ gaugeAwg, sectionMm2 }: LoomWire): string {
  if (gaugeAwg !== undefined) return `${gaugeAwg} AWG`;
  return sectionMm2 === undefined ? '' : `${sectionMm2} mm²`;
}

/** `0.6 m`; empty if the prop file gives no length. */
export function length({ lengthM }: LoomWire): string {
  return lengthM === undefined ? '' : `${lengthM} m`;
}

/** `24 AWG, 0.6 m`, as far as the prop file gives them. */
export function sizeText(wire: LoomWire): string {
  return [gauge(wire), length(wire)].filter(Boolean).join(', ');
}

/** What a wire is for: its channel, or the rail that it feeds. */
export function purpose({ channel, rail }: LoomWire): string {
  return channel ?? rail ?? '';
}

/** `YE yellow`; only the code if it is not in IEC 60757. */
export function colourText(code: string): string {
  return [code, wireColourName(code)].filter(Boolean).join(' ');
}

/** `servo6v through shunt 0.01 ohm of board meter: F1-2 → all of servo6v (servo_current)`. */
export function partText({ rail, channel, part, from, to, sense }: MeasuringPart): string {
  const way = from || to ? `: ${from} → ${to}` : '';
  return `${[channel ?? rail, 'through', part].filter(Boolean).join(' ')}${way} (${sense})`;
}

/** Above the list of what measures in the wiring. */
export const PARTS_TITLE = 'Shunts and dividers';
export const PART_COLUMNS = ['Sense', 'For', 'Part', 'From', 'To'] as const;
export const LABEL_COLUMNS = ['Label', 'For', 'Size', 'Role', 'Colour', 'From', 'To'] as const;
export const CHANNEL_COLUMNS = ['For', 'Label', 'Role', 'Colour', 'From', 'To'] as const;
export const PLACE_COLUMNS = ['Place', ...CHANNEL_COLUMNS.slice(1)] as const;
export const CONNECTOR_COLUMNS = ['Cavity', 'Label', 'Role', 'Colour', 'Other end', 'For'] as const;

/** `6 wires, 14 cores, the longest 0.8 m`. */
export function bundleText({ wires, cores, lengthM }: Bundle): string {
  const longest = lengthM === undefined ? '' : `, the longest ${lengthM} m`;
  return `${wireCount(wires.length)}, ${cores} cores${longest}`;
}

/** Width of a flag (mm). */
export const FLAG_MM = 60;
export const FLAGS_CAPTION = `Print at 100 %: a flag is ${FLAG_MM} mm wide. Cut along the frame, lay the dashed line on the wire, fold, glue. The framed end is where the flag belongs; the arrow tells where the wire goes.`;

/** `6.5 s`, or how much was computed of a cue that goes on until it is stopped. */
export function cueLength(durationS: number, cutShort: boolean): string {
  const text = `${tidy(durationS)} s`;
  return cutShort ? `goes on until stopped; its first ${text}` : text;
}

/** `peak 0.98 A of 5 A (20 %) at 1.5 s`. */
export function railFigures(rail: { peakA: number; peakAtS: number; limitA: number }): string {
  const { peakA, peakAtS, limitA } = rail;
  if (peakA === 0) return `no load, limit ${limitA} A`;
  const share = Math.round((100 * peakA) / limitA);
  return `peak ${tidy(peakA, 2)} A of ${limitA} A (${share} %) at ${tidy(peakAtS, 2)} s`;
}

/** `worst 2.98 A`. */
export function worstText({ worstA }: { worstA: number }): string {
  return `worst ${tidy(worstA, 2)} A`;
}

/** `limit 5 A`. */
export function limitText({ limitA }: { limitA: number }): string {
  return `limit ${tidy(limitA)} A`;
}

export const RAILS_CAPTION =
  'Estimated currents. Worst: if every servo that moves then were stalled. Local codes and licensed practice go before these sums.';
