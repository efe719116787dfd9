import { didYouMean } from '../prop/finding.ts';
import { PARTS, type Part } from '../prop/parts.ts';
import { EXIT, table, UsageError } from './output.ts';
import { verb } from './verb.ts';

/** `sinew parts [NAME]`: the library, with its sources. */
export const partsVerb = verb<{ name?: string }>({
  name: 'parts',
  summary:
    'list the library of parts that a channel or a board may name with part:, or show one of them',
  where: 'both',
  args: [{ name: 'name', doc: 'a part', optional: true }],
  async run({ name }) {
    if (name === undefined) {
      const rows = Object.entries(PARTS).map(([one, { kind, about }]) => [one, kind, about]);
      return {
        result: { parts: PARTS },
        text: `${table(['part', 'kind', 'what it is'], rows)}\nTypical values of each class, not of one product: your own data sheet goes before them.`,
      };
    }
    if (!Object.hasOwn(PARTS, name))
      throw new UsageError(`there is no part ${name}; ${didYouMean(name, Object.keys(PARTS))}`);
    const part = PARTS[name]!;
    return { result: { part: name, ...part }, text: partText(name, part), exit: EXIT.done };
  },
});

function partText(name: string, { kind, about, source, typical }: Part): string {
  const values = Object.entries(typical).map(([key, value]) => `  ${key}: ${inYaml(value)}`);
  return [
    `${name}: ${about}`,
    `  kind: ${kind}`,
    ...values,
    `Source: ${source}. Limits, calibration and pins are never part of it.`,
  ].join('\n');
}

/** As it would be written in a prop file. */
function inYaml(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(inYaml).join(', ')}]`;
  if (typeof value !== 'object' || value === null) return String(value);
  const pairs = Object.entries(value).map(([key, one]) => `${key}: ${inYaml(one)}`);
  return `{ ${pairs.join(', ')} }`;
}
