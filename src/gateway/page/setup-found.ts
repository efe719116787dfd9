import type { Result } from '../../api/methods.ts';
import { hex } from '../../boards/on-i2c.ts';

/** What a scan has found, in words, and what of it goes into the form that adds a board. Pure. */

export type Scan = Result<'board.scan'>;
export type Chip = Scan['chips'][number];
type Boards = Readonly<Record<string, unknown>>;

/** The board that the file has there. */
function inFile(boards: Boards, { bus, address }: Chip): string | undefined {
  return Object.keys(boards).find((name) => {
    const one = boards[name] as { bus?: unknown; address?: unknown } | null;
    return one?.bus === bus && one.address === address;
  });
}

/** What is there, and whether the file has it. */
export function chipText(chip: Chip, boards: Boards): string {
  const { drivers, board, trouble } = chip;
  const names = drivers.join(' or ');
  if (board !== undefined) return `board ${board} of the prop (${names}), which is not asked`;
  const there = inFile(boards, chip);
  const known = there === undefined ? '' : `; the file has board ${there} there`;
  if (trouble !== undefined) return `${trouble}${known}`;
  if (drivers.length === 0) return `something answers that no driver knows${known}`;
  return `${drivers.length > 1 ? 'may be' : 'probably'} ${names}${known}`;
}

/** What the form gets; undefined where there is nothing to add. */
export function formFor(chip: Chip, boards: Boards): Record<string, string> | undefined {
  const { bus, address, parts, drivers } = chip;
  if (parts.length === 0 || inFile(boards, chip) !== undefined) return undefined;
  const base = drivers[0]!;
  let name = base;
  for (let n = 2; Object.hasOwn(boards, name); n++) name = `${base}_${n}`;
  return {
    ...{ name, bus: String(bus), address: hex(address), parts: parts.join(' ') },
    ...(parts.length === 1 && { part: parts[0]! }),
  };
}
