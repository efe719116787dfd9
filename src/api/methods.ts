import type * as z from 'zod';
import type { AnsweredBy, MethodRecord } from './method.ts';
import { channels } from './methods/channels.ts';
import { control } from './methods/control.ts';
import { cues } from './methods/cues.ts';
import { explain } from './methods/explain.ts';
import { file } from './methods/file.ts';
import { measure } from './methods/measure.ts';
import { parts } from './methods/parts.ts';
import { picture } from './methods/picture.ts';
import { proposal } from './methods/proposal.ts';
import { queries } from './methods/queries.ts';
import { session } from './methods/session.ts';
import { show } from './methods/show.ts';
import { sim } from './methods/sim.ts';
import { sounds } from './methods/sounds.ts';
import { takes } from './methods/takes.ts';
import { teach } from './methods/teach.ts';
import { versions } from './methods/versions.ts';

/**
 * Every method of the API. Types, checks, the OpenRPC document, the gateway's dispatch, the core's
 * commands, the page and the command line all use these records.
 */
export const METHODS = {
  ...session,
  ...control,
  ...channels,
  ...cues,
  ...takes,
  ...teach,
  ...measure,
  ...file,
  ...explain,
  ...picture,
  ...versions,
  ...queries,
  ...parts,
  ...proposal,
  ...show,
  ...sim,
  ...sounds,
};

type Methods = typeof METHODS;
export type Method = keyof Methods;

/** Those that are answered by one of the four. */
export type MethodBy<W extends AnsweredBy> = {
  [M in Method]: Methods[M]['by'] extends W ? M : never;
}[Method];
/** Those that the core carries out. */
export type CoreMethod = MethodBy<'core'>;

export type Params<M extends Method> = z.output<ReturnType<Methods[M]['params']>>;
export type Result<M extends Method> = z.output<ReturnType<Methods[M]['result']>>;

/** The record of a method by that name, if there is one. */
export function recordOf(name: string): MethodRecord | undefined {
  return Object.hasOwn(METHODS, name) ? METHODS[name as Method] : undefined;
}
