import { randomBytes } from 'node:crypto';
import { type Conductor, problemsOf, type Reply, type Wish } from './conductor.ts';
import type { ShowControl } from './show-file.ts';

/** Commands of a person, for the command line and the page: sent, answered, and told in words. */

/** A command is answered within this time (ms), or the prop counts as silent. */
const ANSWER_MS = 4000;
/** Props measure a conductor's clock within this time (ms). */
const CLOCK_MS = 4000;
/** A go starts so long from now where all its props are awake (s). */
const AWAKE_LEAD_S = 2;
/** What became of a go is known so long after its time (ms). */
const AFTER_MS = 1500;

export interface Told {
  ok: boolean;
  /** Whoever did not do it, one each; then those who did. */
  lines: string[];
  replies: Reply[];
}

/** One row for each prop, those with problems first. */
export function rowsOf(control: ShowControl, conductor: Conductor) {
  const names = new Set([...Object.keys(control.props), ...conductor.statuses.keys()]);
  const rows = [...names].map((prop) => {
    const status = conductor.present(prop);
    const problems = problemsOf(status, Object.hasOwn(control.props, prop));
    return { prop, status, problems };
  });
  const weight = ({ problems }: { problems: string[] }) =>
    problems.length === 0 ? 2 : problems.length === 1 && problems[0] === 'not armed' ? 1 : 0;
  return rows.sort((a, b) => weight(a) - weight(b) || (a.prop < b.prop ? -1 : 1));
}

/** A command that is carried out at once. @param all the props are all of the show */
export async function command(
  conductor: Conductor,
  wish: Exclude<Wish, { act: 'go' }>,
  props: readonly string[],
  all: boolean,
): Promise<Told> {
  return told(WORDS[wish.act], await conductor.ask(wish, props, ANSWER_MS, { all }));
}

const WORDS = { end: 'ended', park: 'park', stop: 'stop', lockout: 'locked' } as const;

/** Starts a cue on props at one moment. @param leadS so long from now; without it, as their conditions need */
export async function go(
  conductor: Conductor,
  control: ShowControl,
  props: readonly string[],
  cue: string,
  leadS?: number,
): Promise<Told> {
  // A prop that is gone measures nothing, and does not answer either.
  const here = props.filter((prop) => conductor.present(prop));
  await conductor.until(() => conductor.isKnownTo(here), CLOCK_MS);
  const asleep = here.some((prop) => conductor.present(prop)?.condition !== 'live');
  const inMs = 1000 * (leadS ?? (asleep ? control.leadS : AWAKE_LEAD_S));
  const atMs = conductor.nowMs + inMs;
  const ids = new Map(props.map((prop) => [prop, randomBytes(12).toString('hex')]));
  const idOf = (prop: string) => ids.get(prop)!;
  const wish: Wish = { act: 'go', cue, atMs };
  const taken = await conductor.ask(wish, props, Math.min(ANSWER_MS, inMs), { idOf });
  const waits = new Map(
    taken.flatMap(({ prop, outcome }) =>
      outcome === 'waits' ? [[prop, idOf(prop)] as const] : [],
    ),
  );
  const started = await conductor.started(waits, atMs + AFTER_MS);
  const known = new Map(started.map((reply) => [reply.prop, reply]));
  return told(
    `cue ${cue}`,
    taken.map((reply) => known.get(reply.prop) ?? reply),
  );
}

function told(what: string, replies: Reply[]): Told {
  const failed = replies.filter(({ outcome }) => outcome !== 'done');
  const lines = failed.map(({ prop, outcome, reason }) => {
    if (outcome === 'refused') return `${prop}: refused: ${reason ?? 'it does not say why'}`;
    if (outcome === 'unsent') return `${prop}: not sent: the broker is away`;
    if (outcome === 'barred')
      return `${prop}: not sent: the broker does not let this conductor command it; use the switch there, and look at the broker's ACL`;
    if (outcome === 'waits') return `${prop}: took it, and has not said that it started`;
    return `${prop}: does not answer; look at it there`;
  });
  const done = replies.flatMap(({ prop, outcome }) => (outcome === 'done' ? [prop] : []));
  const times = replies.flatMap(({ startedMs }) => startedMs ?? []);
  const apart =
    times.length > 1
      ? `, within ${(Math.max(...times) - Math.min(...times)).toFixed(1)} ms of each other`
      : '';
  if (done.length > 0) lines.push(`${what}: ${done.join(', ')}${apart}`);
  return { ok: failed.length === 0, lines, replies };
}
