import { didYouMean } from '../prop/finding.ts';
import { command, go, rowsOf, type Told } from '../show/command.ts';
import type { Conductor, Wish } from '../show/conductor.ts';
import { loadControl } from '../show/load-show.ts';
import { propsOf, type ShowControl } from '../show/show-file.ts';
import { EXIT, print, table, UsageError } from './output.ts';
import { linked } from './show-link.ts';
import { noWords, report, type ShowInputs } from './show-read.ts';
import type { Operator, Outcome } from './verb.ts';

/** Statuses that the broker has kept are here within this time (ms). */
const STATUSES_MS = 1500;

type Action = Exclude<Wish, { act: 'go' }>;

/** @throws UsageError, Unreachable */
export async function connected<T>(
  { file }: ShowInputs,
  operator: Operator,
  act: (
    control: ShowControl,
    conductor: Conductor,
    brokerProblem: () => string | undefined,
  ) => Promise<T>,
): Promise<T | Outcome> {
  const read = await loadControl(file);
  if ('findings' in read) return report({ file, findings: read.findings }, EXIT.refused);
  const { control } = read;
  let problem: string | undefined;
  const onLink = (text: string | undefined) => {
    problem = text;
  };
  return linked(control, operator, onLink, (conductor) => act(control, conductor, () => problem));
}

/** Waits until each prop of the file has said how it is; those that do not are as gone. */
function statuses(control: ShowControl, conductor: Conductor): Promise<boolean> {
  const names = Object.keys(control.props);
  return conductor.until(() => names.every((name) => conductor.statuses.has(name)), STATUSES_MS);
}

function listText(rows: ReturnType<typeof rowsOf>): string {
  return table(
    ['prop', 'condition', 'armed', 'runs', 'wear', 'problems'],
    rows.map(({ prop, status, problems }) => [
      prop,
      status?.condition ?? 'gone',
      status ? (status.armed ? 'yes' : 'no') : '',
      status?.runs.join(', ') ?? '',
      status?.wear ? `${status.wear.onH} h, ${status.wear.travelDeg} deg` : '',
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
    return outcome(await go(conductor, control, props, cue, inputs.lead));
  });
}

function outcome({ ok, lines, replies }: Told): Outcome {
  return { result: { replies }, text: lines.join('\n'), exit: ok ? EXIT.done : EXIT.refused };
}

/** A command for a prop, a group or all, carried out at once. */
function commanded(
  inputs: ShowInputs,
  operator: Operator,
  target: string,
  wish: Action,
): Promise<Outcome> {
  return connected(inputs, operator, async (control, conductor) => {
    const props = targetProps(control, target);
    return outcome(await command(conductor, wish, props, target === 'all'));
  });
}

export async function endAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const [target = 'all', cue, ...more] = wordsOf(inputs);
  if (more.length > 0)
    throw new UsageError('give a prop or group, and a cue if only that is to end');
  const wish: Action = { act: 'end', ...(cue !== undefined && { cue }) };
  return commanded(inputs, operator, target, wish);
}

export async function parkAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  return commanded(inputs, operator, oneTarget(inputs), { act: 'park' });
}

export async function stopAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const wish: Action = { act: 'stop', category: inputs.category ?? 1 };
  return commanded(inputs, operator, oneTarget(inputs), wish);
}

export async function lockoutAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const [target = 'all', ...words] = wordsOf(inputs);
  const reason = words.join(' ');
  const wish: Action = { act: 'lockout', ...(reason !== '' && { reason }) };
  return commanded(inputs, operator, target, wish);
}

/** @throws UsageError */
function oneTarget(inputs: ShowInputs): string {
  const [target = 'all', ...more] = wordsOf(inputs);
  if (more.length === 0) return target;
  throw new UsageError(
    `${inputs.what} takes one prop or group, or all; leave out ${more.join(' ')}`,
  );
}
