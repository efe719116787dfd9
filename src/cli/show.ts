import { UsageError } from './output.ts';
import type { ShowInputs } from './show-read.ts';
import { between } from './values.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** Many props, one show: `sinew show WHAT SHOW.yaml`. */

type Action = (inputs: ShowInputs, operator: Operator) => Promise<Outcome>;

function control(
  name:
    | 'listAction'
    | 'watchAction'
    | 'goAction'
    | 'endAction'
    | 'parkAction'
    | 'stopAction'
    | 'lockoutAction',
): Action {
  return async (inputs, operator) => (await import('./show-control.ts'))[name](inputs, operator);
}

/** By the first word. Loaded only here: `stop` must not wait for a YAML parser. */
const ACTIONS: Record<string, Action> = {
  check: async (inputs) => (await import('./show-read.ts')).checkAction(inputs),
  list: control('listAction'),
  watch: control('watchAction'),
  go: control('goAction'),
  end: control('endAction'),
  park: control('parkAction'),
  stop: control('stopAction'),
  lockout: control('lockoutAction'),
  run: async (inputs, operator) => (await import('./show-run.ts')).runAction(inputs, operator),
  serve: async (inputs, operator) =>
    (await import('./show-serve.ts')).serveAction(inputs, operator),
  pull: async (inputs, operator) => (await import('./show-pull.ts')).pullAction(inputs, operator),
  diff: async (inputs, operator) => (await import('./show-pull.ts')).diffAction(inputs, operator),
  rehearse: async (inputs, operator) =>
    (await import('./show-rehearse.ts')).rehearseAction(inputs, operator),
};

function category(text: string): number {
  if (/^[012]$/.test(text)) return Number(text);
  throw new UsageError(`${text} is not a stop category; give 0, 1 or 2`);
}

export const showVerb = verb<ShowInputs>({
  name: 'show',
  summary: 'many props, one show: check or rehearse its file, command its props, play its timeline',
  where: 'line',
  args: [
    { name: 'what', doc: Object.keys(ACTIONS).join(', '), choices: Object.keys(ACTIONS) },
    { name: 'file', doc: 'the file of the show, SHOW.yaml' },
    { name: 'words', doc: 'what else it needs', optional: true, rest: true },
  ],
  options: [
    {
      flags: '--lead <S>',
      doc: 'go: start so long from now, 1 to 60 s; default: leadS of the file where a prop is parked, else 2',
      parse: between(1, 60, 'seconds'),
    },
    {
      flags: '--category <N>',
      doc: 'stop: 0 drops power at once, 1 decelerates first (default), 2 decelerates and holds',
      parse: category,
    },
    {
      flags: '--listen <HOST:PORT>',
      doc: 'serve: where the page is; default: 127.0.0.1:7421. Any other address needs --page-token',
    },
    {
      flags: '--page-token <FILE>',
      doc: 'serve: file (mode 0600) with the token that the page asks for',
    },
    { flags: '--now', doc: 'run: once, now, whatever the schedule says' },
  ],
  independent: true,
  run: (inputs, operator) => ACTIONS[inputs.what]!(inputs, operator),
});
