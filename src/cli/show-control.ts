import { didYouMean } from '../prop/finding.ts';
import { type Conductor, problemsOf, type Reply, type Wish } from '../show/conductor.ts';
import { LinkedConductor } from '../show/conductor-link.ts';
import { loadControl } from '../show/load-show.ts';
import { propsOf, type ShowControl } from '../show/show-file.ts';
import { Unreachable } from './client.ts';
import { EXIT, print, table, UsageError } from './output.ts';
import { noWords, report, type ShowInputs } from './show-read.ts';
import type { Operator, Outcome } from './verb.ts';

/** Statuses that the broker has kept are here within this time (ms). */
const STATUSES_MS = 1500;
/** A command is answered within this time (ms), or the prop counts as silent. */
const ANSWER_MS = 4000;
/** Props measure a conductor's clock within this time (ms). */
const CLOCK_MS = 4000;
/** A go starts so long from now where all its props are awake (s). */
const AWAKE_LEAD_S = 2;
/** What became of a go is known so long after its time (ms). */
const AFTER_MS = 1500;

/** @throws UsageError, Unreachable */
export async function connected<T>(
  { file }: ShowInputs,
  operator: Operator,
  act: (control: ShowControl, conductor: Conductor) => Promise<T>,
): Promise<T | Outcome> {
  const read = await loadControl(file);
  if ('findings' in read) return report({ file, findings: read.findings }, EXIT.refused);
  const { control } = read;
  const link = new LinkedConductor({
    show: control.name,
    broker: control.broker,
    from: operator.options.name,
  });
  try {
    await link.open();
  } catch (error) {
    throw new Unreachable(`${control.broker.url}: ${(error as Error).message}`);
  }
  try {
    return await act(control, link.conductor);
  } finally {
    await link.close();
  }
}

/** Waits until each prop of the file has said how it is; those that do not are as gone. */
function statuses(control: ShowControl, conductor: Conductor): Promise<boolean> {
  const names = Object.keys(control.props);
  return conductor.until(() => names.every((name) => conductor.statuses.has(name)), STATUSES_MS);
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

function listText(rows: ReturnType<typeof rowsOf>): string {
  return table(
    ['prop', 'condition', 'armed', 'runs', 'problems'],
    rows.map(({ prop, status, problems }) => [
      prop,
      status?.condition ?? 'gone',
      status ? (status.armed ? 'yes' : 'no') : '',
      status?.runs.join(', ') ?? '',
      problems.filter((one) => one !== 'not armed').join('; '),
    ]),
  );
}

export function listAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  noWords(inputs);
  return connected(inputs, operator, async (control, conductor) => {
    await statuses(control, conductor);
    const rows = rowsOf(control, conductor);
    return {
      result: {
        show: control.name,
        props: rows.map(({ prop, status, problems }) => ({ prop, ...status, problems })),
      },
      text: listText(rows),
      exit: rows.some(({ problems }) => problems.length > 0) ? EXIT.refused : EXIT.done,
    };
  });
}

/** Prints the list again whenever it changes, until Ctrl-C. */
export function watchAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  noWords(inputs);
  const { io, options } = operator;
  return connected(inputs, operator, async (control, conductor) => {
    await statuses(control, conductor);
    let last = '';
    const show = () => {
      const rows = rowsOf(control, conductor);
      const text = options.json
        ? JSON.stringify(rows.map(({ prop, status, problems }) => ({ prop, ...status, problems })))
        : `${new Date().toTimeString().slice(0, 8)}\n${listText(rows)}`;
      if (text.slice(9) !== last) print(io.stdout, text);
      last = text.slice(9);
    };
    show();
    const stop = conductor.onHeard(show);
    await new Promise<void>((resolve) => {
      const off = io.onInterrupt(() => {
        off();
        resolve();
      });
    });
    stop();
    return { result: undefined, text: '' };
  });
}

function wordsOf({ words = '' }: ShowInputs): string[] {
  return words.split(/\s+/).filter((word) => word !== '');
}

/** @throws UsageError */
function targetProps(control: ShowControl, target: string): string[] {
  const props = propsOf(control, target);
  if (props.length > 0) return props;
  const known = [...Object.keys(control.props), ...Object.keys(control.groups), 'all'];
  throw new UsageError(`the show has no prop or group ${target}; ${didYouMean(target, known)}`);
}

export async function goAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const [target, cue, ...more] = wordsOf(inputs);
  if (target === undefined || cue === undefined || more.length > 0)
    throw new UsageError(
      'say what starts where: sinew show go SHOW.yaml PROP CUE, or a group, or all',
    );
  return connected(inputs, operator, async (control, conductor) => {
    const props = targetProps(control, target);
    await statuses(control, conductor);
    // A prop that is gone measures nothing, and does not answer either.
    const here = props.filter((prop) => conductor.present(prop));
    await conductor.until(() => conductor.isKnownTo(here), CLOCK_MS);
    const parked = here.some((prop) => conductor.present(prop)?.condition !== 'live');
    const leadS = inputs.lead ?? (parked ? control.leadS : AWAKE_LEAD_S);
    const atMs = conductor.nowMs + 1000 * leadS;
    const ids = new Map<string, string>();
    const idOf = (prop: string) => {
      const id = `g${Math.random().toString(36).slice(2).padEnd(11, '0')}${Math.round(atMs).toString(36)}`;
      ids.set(prop, id);
      return id;
    };
    const taken = await conductor.ask(
      { act: 'go', cue, atMs },
      props,
      Math.min(ANSWER_MS, 1000 * leadS),
      { idOf },
    );
    const wait = new Map(
      taken.flatMap(({ prop, outcome }) =>
        outcome === 'waits' ? [[prop, ids.get(prop)!] as const] : [],
      ),
    );
    const started = await conductor.started(wait, atMs + AFTER_MS);
    const known = new Map(started.map((reply) => [reply.prop, reply]));
    return replied(
      `cue ${cue}`,
      taken.map((reply) => known.get(reply.prop) ?? reply),
    );
  });
}

/** What props did of a command; whoever did not is named first. */
function replied(what: string, replies: readonly Reply[]): Outcome {
  const failed = replies.filter(({ outcome }) => outcome !== 'done');
  const lines = failed.map(({ prop, outcome, reason }) => {
    if (outcome === 'refused') return `${prop}: refused: ${reason ?? 'it does not say why'}`;
    if (outcome === 'unsent') return `${prop}: not sent: the broker is away`;
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
  return {
    result: { replies },
    text: lines.join('\n'),
    exit: failed.length > 0 ? EXIT.refused : EXIT.done,
  };
}

/** A command for a prop, a group or all, carried out at once. */
function command(
  inputs: ShowInputs,
  operator: Operator,
  target: string,
  wish: Wish,
  what: string,
): Promise<Outcome> {
  return connected(inputs, operator, async (control, conductor) => {
    const props = targetProps(control, target);
    const all = target === 'all';
    return replied(what, await conductor.ask(wish, props, ANSWER_MS, { all }));
  });
}

export async function endAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const [target = 'all', cue, ...more] = wordsOf(inputs);
  if (more.length > 0)
    throw new UsageError('give a prop or group, and a cue if only that is to end');
  const wish: Wish = { act: 'end', ...(cue !== undefined && { cue }) };
  return command(inputs, operator, target, wish, 'ended');
}

export async function parkAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  return command(inputs, operator, oneTarget(inputs), { act: 'park' }, 'park');
}

export async function stopAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const wish: Wish = { act: 'stop', category: inputs.category ?? 1 };
  return command(inputs, operator, oneTarget(inputs), wish, 'stop');
}

export async function lockoutAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const [target = 'all', ...words] = wordsOf(inputs);
  const reason = words.join(' ');
  const wish: Wish = { act: 'lockout', ...(reason !== '' && { reason }) };
  return command(inputs, operator, target, wish, 'locked');
}

/** @throws UsageError */
function oneTarget(inputs: ShowInputs): string {
  const [target = 'all', ...more] = wordsOf(inputs);
  if (more.length === 0) return target;
  throw new UsageError(
    `${inputs.what} takes one prop or group, or all; leave out ${more.join(' ')}`,
  );
}
