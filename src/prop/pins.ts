import { factsOf } from '../boards/registry.ts';
import { kindOf } from './kinds/registry.ts';
import type { Prop } from './schema.ts';

export interface BoardInfo {
  driver: string;
  /** Its pins are the 40-pin header. */
  header: boolean;
  pins: {
    pin: number;
    /** What is connected to it: `beak`, `eye_left.red`, `stopInput`; absent when it is free. */
    use?: string;
    /** What the board itself uses it for. */
    reserved?: string;
  }[];
}

/** What every pin of a board is for. */
export function boardPins(prop: Prop, name: string): BoardInfo {
  const { driver } = prop.boards[name]!;
  const facts = factsOf({ driver });
  const uses = new Map<number, string>();
  for (const { board, pin, use } of pinUses(prop)) if (board === name) uses.set(pin, use);
  const pins = Array.from({ length: facts.pins }, (_, pin) => {
    const use = uses.get(pin);
    const reserved = facts.reservedFor(pin);
    return { pin, ...(use && { use }), ...(reserved && { reserved }) };
  });
  return { driver, header: facts.header, pins };
}

function* pinUses(prop: Prop): Generator<{ board: string; pin: number; use: string }> {
  if (prop.stopInput) yield { ...prop.stopInput, use: 'stopInput' };
  if (prop.lockoutInput) yield { ...prop.lockoutInput, use: 'lockoutInput' };
  for (const [name, { board, pin }] of Object.entries(prop.guards)) yield { board, pin, use: name };
  for (const [name, sense] of Object.entries(prop.senses))
    if (sense.kind === 'contact') yield { board: sense.board, pin: sense.pin, use: name };
  for (const [name, { input }] of Object.entries(prop.triggers))
    if (input) yield { board: input.board, pin: input.pin, use: name };
  for (const [name, channel] of Object.entries(prop.channels)) {
    const { board } = channel.output;
    for (const { pin, colour } of kindOf(channel).outputs(channel))
      yield { board, pin, use: colour ? `${name}.${colour}` : name };
  }
}
