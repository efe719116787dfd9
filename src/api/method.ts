import type * as z from 'zod';
import type { RefusalCode } from '../shared/refusals.ts';
import type { Fields } from './fields.ts';

/**
 * Who answers. `core`: it carries out commands. `view`: the gateway, from what it knows of the core, once
 * what the session has asked for before has begun. `service`: the prop-file service, past the core.
 * `gateway`: the gateway itself.
 */
export type AnsweredBy = 'core' | 'view' | 'service' | 'gateway';

/** All that there is to say of a method. Its schemas are made when asked for: the core needs none. */
export interface MethodRecord {
  summary: string;
  by: AnsweredBy;
  /** Only the holder of the lease may ask for it. */
  lease: boolean;
  /** Only while the daemon listens on this machine alone. */
  local?: true;
  /** A slider or a held key asks for it many times a second; the journal shows the last one. */
  streamed?: true;
  /** The journal shows its effect on the whole prop, if any, instead. */
  whole?: true;
  /** Refusals of its own, besides those of every method. */
  errors: readonly RefusalCode[];
  /** Of the owl; without a result where that is long. */
  example: { params: Record<string, unknown>; result?: Record<string, unknown> };
  params: (fields: Fields) => z.ZodObject;
  result: (fields: Fields) => z.ZodType;
}

/** The methods of one family, by name. */
export type Family = Record<string, MethodRecord>;
