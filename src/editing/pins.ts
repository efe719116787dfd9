import { factsOf, setUpOf } from '../boards/registry.ts';
import { pinUses } from '../prop/lint-outputs.ts';
import type { Prop } from '../prop/schema.ts';
import { PinBoard, type Use } from '../proposal/pins.ts';
import { refuse } from './draft.ts';

/** Free pins of a prop that has channels already, judged by the drivers' own facts. */

/** What a channel may be to its pins; `pull`: with a resistor that must be fitted. */
export type PinUse = Use & { pull?: 'up' | 'down' };

export interface PinChoice {
  board: string;
  pins: number[];
  /** What check says of pins that the person chose. */
  remark?: string;
  pull?: 'up' | 'down';
}

/** What a channel is to its pins, by its name. */
export function usesOf(prop: Prop, channel: string): { use: Use; pin: number }[] {
  const found: { use: Use; pin: number }[] = [];
  for (const { pin, path, boardPath: _, board: __, ...use } of pinUses(prop))
    if (path[0] === 'channels' && path[1] === channel) found.push({ use, pin });
  return found;
}

/**
 * Pins for a channel: those that are asked for, or the first that nothing is said against.
 * @param uses what the channel may be to its pins, the best first
 * @param except the channel that has pins now
 * @throws Refusal `change.refused` where it cannot have them
 */
export function choosePins(
  prop: Prop,
  uses: readonly PinUse[],
  count: number,
  wish: { board?: string | undefined; pins?: readonly number[] | undefined },
  except?: string,
): PinChoice {
  const names = wish.board === undefined ? Object.keys(prop.boards) : [wish.board];
  const wrong: string[] = [];
  for (const name of names) {
    const board = boardOf(prop, name, except);
    if (!board)
      refuse(`there is no board ${name}; use one of ${Object.keys(prop.boards).join(', ')}`, []);
    if (wish.pins) return wanted(board, uses, count, wish.pins);
    for (const { pull, ...use } of uses) {
      const pins = board.take(use, count, []);
      if (pins) return { board: name, pins, ...(pull && { pull }) };
    }
    wrong.push(name);
  }
  return refuse(
    `no ${count === 1 ? 'pin is' : `${count} pins are`} free and suitable on board ${wrong.join(', ')}; add a board, or give a pin yourself`,
    wrong.map((name) => `board ${name}`),
  );
}

/** The free pins of a board that check has nothing to say against for a use; none where there is no such board. */
export function freePins(prop: Prop, name: string, use: Use): number[] {
  const board = boardOf(prop, name, undefined);
  return board ? board.goodFor(use).filter((pin) => !board.taken.has(pin)) : [];
}

function boardOf(prop: Prop, name: string, except: string | undefined): PinBoard | undefined {
  const entry = Object.hasOwn(prop.boards, name) ? prop.boards[name] : undefined;
  if (!entry) return undefined;
  const board = new PinBoard(name, entry, prop.boards, setUpOf(entry.driver).surePins);
  const space = factsOf(entry).pinSpace(name);
  for (const { board: other, pin, path } of pinUses(prop)) {
    const own = path[0] === 'channels' && path[1] === except;
    const there = Object.hasOwn(prop.boards, other) ? prop.boards[other] : undefined;
    if (!own && there && factsOf(there).pinSpace(other) === space) board.taken.add(pin);
  }
  return board;
}

function wanted(
  board: PinBoard,
  uses: readonly PinUse[],
  count: number,
  pins: readonly number[],
): PinChoice {
  if (pins.length !== count || new Set(pins).size !== count)
    refuse(`it needs ${count === 1 ? 'one pin' : `${count} different pins`}; give as many`, []);
  let remark: string | undefined;
  let pull: 'up' | 'down' | undefined;
  for (const pin of pins) {
    if (board.taken.has(pin))
      refuse(`${board.word(pin)} of board ${board.name} is taken; give another`, [
        `board ${board.name}`,
      ]);
    const verdicts = uses.map(({ pull: own, ...use }) => ({ ...board.verdict(pin, use), own }));
    const best =
      verdicts.find(({ trouble }) => trouble === undefined) ??
      verdicts.find(({ impossible }) => !impossible);
    if (!best) refuse(`${verdicts[0]!.trouble}; give another pin`, [`board ${board.name}`]);
    remark ??= best.trouble;
    pull ??= best.own;
  }
  return {
    board: board.name,
    pins: [...pins],
    ...(remark !== undefined && { remark }),
    ...(pull && { pull }),
  };
}
