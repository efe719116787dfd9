import { HEADER_PINS, reservedFor } from '../prop/header.ts';
import type { Prop } from '../prop/schema.ts';
import { wireColourName } from '../sums/wire-colours.ts';
import type { Board } from './boards.ts';
import type { BoardInfo, LoomWire } from './requests.ts';

/** Outputs of a PCA9685 (NXP data sheet, rev. 4: 16 channels). */
const PCA9685_OUTPUTS = 16;

/**
 * The wires that a text matches: by part of a label, channel or end, by the start of a role, or by
 * a colour's whole code or name. Every word of the text must match; an empty text finds all wires.
 */
export function findWires(prop: Prop, text: string): LoomWire[] {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  const found: LoomWire[] = [];
  for (const [channel, { wire }] of Object.entries(prop.channels)) {
    if (!wire) continue;
    const { label, cores, gaugeAwg, sectionMm2, lengthM } = wire;
    const parts = [label, channel, ...cores.flatMap(({ from, to }) => [from, to])];
    const roles = cores.map(({ role }) => role);
    const colours = cores.flatMap(({ colour }) => [colour, ...nameWords(colour)]);
    const matches = (word: string) =>
      parts.some((part) => part.toLowerCase().includes(word)) ||
      roles.some((role) => role.toLowerCase().startsWith(word)) ||
      colours.some((colour) => colour.toLowerCase() === word);
    if (!words.every(matches)) continue;
    found.push({
      label,
      channel,
      ...(gaugeAwg !== undefined && { gaugeAwg }),
      ...(sectionMm2 !== undefined && { sectionMm2 }),
      ...(lengthM !== undefined && { lengthM }),
      cores,
    });
  }
  return found;
}

/** The words of a colour's name: `GNYE` is green and yellow. */
function nameWords(colour: string): string[] {
  return wireColourName(colour)?.split('-') ?? [];
}

/** What every pin of a board is for. */
export function boardInfo(prop: Prop, board: Board): BoardInfo {
  const { driver } = prop.boards[board.name]!;
  const onHeader = driver !== 'pca9685';
  const uses = new Map([...board.outputs, ...board.inputs].map(({ pin, name }) => [pin, name]));
  const pins = Array.from({ length: onHeader ? HEADER_PINS : PCA9685_OUTPUTS }, (_, pin) => {
    const use = uses.get(pin);
    const reserved = onHeader ? reservedFor(pin) : undefined;
    return { pin, ...(use && { use }), ...(reserved && { reserved }) };
  });
  return { driver, pins };
}
