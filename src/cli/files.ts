import { budgetVerb } from './budget.ts';
import { loomVerb } from './loom.ts';
import { partsVerb } from './parts.ts';
import { rehearseVerb } from './rehearse.ts';
import { type Argument, verb } from './verb.ts';

/** Verbs that read a prop file and need no daemon. */

const FILE: Argument = { name: 'file', doc: 'a prop file' };

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
  loomVerb,
  budgetVerb,
  rehearseVerb,
  partsVerb,
];
