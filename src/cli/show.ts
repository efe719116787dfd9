import type { ShowInputs } from './show-read.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** Many props, one show: `sinew show WHAT SHOW.yaml`. */

type Action = (inputs: ShowInputs, operator: Operator) => Promise<Outcome>;

/** By the first word. Loaded only here: `stop` must not wait for a YAML parser. */
const ACTIONS: Record<string, Action> = {
  check: async (inputs) => (await import('./show-read.ts')).checkAction(inputs),
  rehearse: async (inputs, operator) =>
    (await import('./show-rehearse.ts')).rehearseAction(inputs, operator),
};

export const showVerb = verb<ShowInputs>({
  name: 'show',
  summary: 'many props, one show: check or rehearse its file',
  where: 'line',
  args: [
    { name: 'what', doc: Object.keys(ACTIONS).join(', '), choices: Object.keys(ACTIONS) },
    { name: 'file', doc: 'the file of the show, SHOW.yaml' },
    { name: 'words', doc: 'what else it needs', optional: true, rest: true },
  ],
  run: (inputs, operator) => ACTIONS[inputs.what]!(inputs, operator),
});
