import { Refusal } from '../shared/errors.ts';
import { budgetVerb } from './budget.ts';
import { rehearseVerb } from './rehearse.ts';
import { type Argument, type Verb, type VerbOption, verb } from './verb.ts';

/** Verbs that read a prop file and need no daemon. */

const FILE: Argument = { name: 'file', doc: 'a prop file' };

/** Checks its words, then says plainly that it does nothing yet. */
function notBuilt(name: string, summary: string, so: string, options: VerbOption[]): Verb {
  return verb({
    name,
    summary: `${summary} (not built yet)`,
    where: 'line',
    args: [FILE],
    options,
    async run() {
      throw new Refusal('methodNotFound', `${name} is not built yet: ${so}`);
    },
  });
}

export const fileVerbs = [
  verb<{ file: string }>({
    name: 'check',
    summary: 'check a prop file and show all findings',
    where: 'both',
    args: [FILE],
    async run({ file }) {
      // Loaded only here: `stop` must not wait for a YAML parser.
      const { formatFinding, loadProp } = await import('../prop/load.ts');
      const { findings } = await loadProp(file);
      const lines = findings.map((finding) => formatFinding(finding, file));
      if (findings.length === 0) lines.push(`${file}: no findings`);
      else lines.push(findings.length === 1 ? '1 finding' : `${findings.length} findings`);
      const bad = findings.some(({ severity }) => severity !== 'note');
      return { result: { file, findings }, text: lines.join('\n'), exit: bad ? 1 : 0 };
    },
  }),
  notBuilt(
    'loom',
    'draw the wiring',
    'this version finds wires (sinew find) but does not draw them',
    [{ flags: '--format <F>', doc: 'form of the output', choices: ['text', 'csv', 'html', 'svg'] }],
  ),
  budgetVerb,
  rehearseVerb,
];
