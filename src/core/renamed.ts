import { placeOf } from '../boards/registry.ts';
import type { PlaceOf } from './actuator.ts';
import type { Body } from './body.ts';

/** Channels that go on under another name in another version of the prop file. */

/** What was, or is, at a place: output and all that its saved state depends on. */
interface AtPlace {
  name: string;
  place: string;
}

const KINDS = ['servos', 'relays', 'lights'] as const;

/** All channels of a version. */
export type Places = Record<(typeof KINDS)[number], AtPlace[]>;

/** The physical pins of the outputs of a body. */
export function placesIn({ prop: { boards } }: Body): PlaceOf {
  return ({ board, pin }) => placeOf(board, boards[board]!, pin);
}

/** The place of a servo is its digest. */
export function servosAt({ servos }: Body): AtPlace[] {
  return servos.map(({ name, digest }) => ({ name, place: digest }));
}

export function relaysAt(body: Body): AtPlace[] {
  const placeIn = placesIn(body);
  return body.relays.map(({ name, spec }) => ({ name, place: placeIn(spec.output) }));
}

function lightsAt(body: Body): AtPlace[] {
  const placeIn = placesIn(body);
  return body.lights.map(({ name, spec: { output }, pins }) => ({
    name,
    place: pins.map((pin) => placeIn({ board: output.board, pin })).join(),
  }));
}

export function placesOf(body: Body): Places {
  return { servos: servosAt(body), relays: relaysAt(body), lights: lightsAt(body) };
}

/**
 * What of before goes on under another name in a body: the only one that was at the place of something
 * new, and whose own name is gone. Two names that are swapped, or a name that has gone to another place,
 * are not renamed: nobody can tell whether the names were changed or the plugs.
 * @returns old names by the new ones
 */
export function oldNames(before: Places, body: Body): Map<string, string> {
  const now = placesOf(body);
  const found = new Map<string, string>();
  for (const kind of KINDS) {
    const known = new Set(before[kind].map(({ name }) => name));
    const gone = before[kind].filter(({ name }) => body.find(name) === undefined);
    const came = now[kind].filter(({ name }) => !known.has(name));
    // Of two relays that have other names, nobody can tell which load hangs on which pin now, and a load
    // that is hot must not get the rest of a cool one.
    if (kind === 'relays' && (gone.length !== 1 || came.length !== 1)) continue;
    for (const { name, place } of came) {
      const [was, another] = gone.filter((one) => one.place === place);
      if (was && !another) found.set(name, was.name);
    }
  }
  return found;
}
