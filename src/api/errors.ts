import type { RefusalCode } from '../shared/refusals.ts';

/** Refusals that several methods share, by what they do. */

/** Those that any method may answer with. */
export const EVERYWHERE = [
  'request.malformed',
  'request.too-large',
  'request.too-many',
  'request.unanswered',
  'params.by-position',
  'params.invalid',
  'params.not-finite',
  'session.not-open',
  'session.ended',
  'session.stop-only',
  'daemon.fault',
] as const satisfies RefusalCode[];

export const LEASE = ['lease.held', 'lease.not-taken'] as const satisfies RefusalCode[];

/** What a live prop is asked for by the holder. */
export const COMMAND = [
  ...LEASE,
  'condition.forbids',
  'lockout.set',
  'guard.broken',
  'teach.under-way',
] as const satisfies RefusalCode[];

export const CHANNEL = ['channel.unknown', 'channel.wrong-kind'] as const satisfies RefusalCode[];

export const INTERLOCK = [
  'interlock.unmet',
  'interlock.together',
  'interlock.needed',
] as const satisfies RefusalCode[];

/** What moves servos. */
export const MOTION = [
  ...COMMAND,
  ...CHANNEL,
  ...INTERLOCK,
  'limits.outside',
  'mark.unknown',
  'rail.limit',
  'jog.feeling',
  'move.interrupted',
] as const satisfies RefusalCode[];

/** What changes the prop file. */
export const FILE = [
  ...LEASE,
  'file.unusable',
  'file.restless',
  'file.cannot-edit',
  'file.would-be-wrong',
  'file.not-saved',
  'file.boards-cannot',
  'file.too-large',
  'session.gone',
  'service.dead',
] as const satisfies RefusalCode[];

/** What captures where a servo stands. */
export const CAPTURE = [
  ...COMMAND,
  ...CHANNEL,
  ...FILE,
  'file.waits',
  'capture.moving',
  'capture.outside',
  'capture.unknown',
  'teach.not-limp',
  'teach.not-measured',
] as const satisfies RefusalCode[];

/** What the prop-file service is asked, past the core. */
export const QUESTION = [
  'service.dead',
  'service.busy',
  'service.late',
] as const satisfies RefusalCode[];

/** What the prop-file service works out in a thread of its own. */
export const WORKED_OUT = [
  ...QUESTION,
  'service.memory',
  'session.gone',
] as const satisfies RefusalCode[];
