import { type Explanation, explainKey, type KeyInfo, type KeySchema } from '../prop/explain.ts';
import { jsonSchema } from '../prop/json-schema.ts';
import { verb } from './verb.ts';

/** The key reference of the prop file, from its schema. */
export const explainVerb = verb<{ key?: string }>({
  name: 'explain',
  summary: 'what a key of the prop file means, and what it may say',
  where: 'both',
  args: [
    {
      name: 'key',
      doc: 'such as channels.servo.calibration or rails.fuse; without it, the whole file',
      optional: true,
      rest: true,
    },
  ],
  async run({ key = '' }) {
    const result = explainKey(jsonSchema() as KeySchema, key);
    return { result, text: explanationText(result) };
  },
});

function explanationText({
  path,
  about,
  form,
  required,
  keys,
  kinds,
  ...key
}: Explanation): string {
  const head = [
    `${path || 'a prop file'}${path && required ? ' (must be there)' : ''}`,
    ...(about === undefined ? [] : [`  ${about}`]),
    `  write: ${form}`,
    ...(key.default === undefined ? [] : [`  without it: ${defaultText(key)}`]),
  ];
  const parts = [head.join('\n')];
  if (kinds.length > 0) {
    const examples = kinds.map((kind) => `  sinew explain ${path}.${kind}`);
    parts.push(`its keys depend on the kind:\n${examples.join('\n')}`);
  }
  if (keys.length > 0) parts.push(keys.map(keyText).join('\n'));
  return parts.join('\n\n');
}

function keyText(key: KeyInfo): string {
  const { name, form, required, about = '' } = key;
  const rest = required ? '; must be there' : '';
  const instead = key.default === undefined ? '' : `; without it: ${defaultText(key)}`;
  return `  ${name.padEnd(12)} ${about || form}${about && `\n               ${form}`}${rest}${instead}`;
}

function defaultText({ default: value }: Pick<KeyInfo, 'default'>): string {
  if (value === undefined) return '';
  return typeof value === 'string' ? value : JSON.stringify(value);
}
