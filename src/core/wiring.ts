import { HEADER_PINS, reservedFor } from '../prop/header.ts';
import type { Prop } from '../prop/schema.ts';
import type { Board } from './boards.ts';
import type { BoardInfo, LoomWire } from './requests.ts';

/** Outputs of a PCA9685 (NXP data sheet, rev. 4: 16 channels). */
const PCA9685_OUTPUTS = 16;

/**
 * The wires that a text matches: by label, channel, role, colour or end, in any case. Every word of
 * the text must be found in the wire; an empty text finds all of them.
 */
export function findWires(prop: Prop, text: string): LoomWire[] {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  const found: LoomWire[] = [];
  for (const [channel, { wire }] of Object.entries(prop.channels)) {
    if (!wire) continue;
    const { label, cores, gaugeAwg, sectionMm2, lengthM } = wire;
    const ends = cores.flatMap(({ role, colour, from, to }) => [role, colour, from, to]);
    const hay = [label, channel, ...ends].join('\n').toLowerCase();
    if (!words.every((word) => hay.includes(word))) continue;
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
