import { factsOf } from '../boards/registry.ts';
import { splitEnd } from './loom-words.ts';
import type { Prop } from './schema.ts';

/** The connector that counts as the header if the file names none. */
const HEADER = 'J1';

/**
 * The connectors whose cavities are the pins of a board, each with its board: those with `board:` and, if
 * there is just one board with a header, J1.
 */
export function boardConnectors(prop: Prop): Map<string, string> {
  const boards = new Map<string, string>();
  for (const [name, { board }] of Object.entries(prop.connectors)) {
    if (board !== undefined && Object.hasOwn(prop.boards, board)) boards.set(name, board);
  }
  const headers = Object.keys(prop.boards).filter((name) => factsOf(prop.boards[name]!).header);
  const only = headers.length === 1 ? headers[0]! : undefined;
  const doubtful = Object.hasOwn(prop.connectors, HEADER) || [...boards.values()].includes(only!);
  if (only !== undefined && !doubtful && hasEndIn(prop, HEADER)) boards.set(HEADER, only);
  return boards;
}

/** Whether a wire, a supply or a fuse ends in a connector. */
function hasEndIn({ channels, wires, rails }: Prop, connector: string): boolean {
  const all = [...Object.values(channels).flatMap(({ wire }) => wire ?? []), ...wires];
  const ends = [
    ...all.flatMap(({ cores }) => cores.flatMap(({ from, to }) => [from, to])),
    ...Object.values(rails).flatMap(({ supply, fuse }) => [
      ...(supply ? [supply.plus, supply.return] : []),
      ...(fuse ? [fuse.from, fuse.to] : []),
    ]),
  ];
  return ends.some((end) => splitEnd(end).connector === connector);
}
