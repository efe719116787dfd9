import { KINDS_TITLE, keyFacts, keyLine, keyTitle } from '../drawings/key-words.ts';
import type { Explanation, FoundKey, KeyInfo, KeySchema } from '../prop/explain.ts';
import { verb } from './verb.ts';

/** Keys that a search shows. */
const FOUND_LIMIT = 40;

/** The key reference of the prop file, from its schema. */
export const explainVerb = verb<{ key?: string; find?: string }>({
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
  options: [{ flags: '--find <TEXT>', doc: 'list the keys that have all of these words' }],
  async run({ key = '', find }) {
    // Loaded only here: `stop` must not wait for the schema and its examples.
    const { explainKey, findKeys } = await import('../prop/explain.ts');
    const { jsonSchema } = await import('../prop/json-schema.ts');
    const schema = jsonSchema() as KeySchema;
    if (find !== undefined) {
      const found = findKeys(schema, find, FOUND_LIMIT);
      return { result: { found }, text: foundText(found, find), ...(!found.length && { exit: 1 }) };
    }
    const result = explainKey(schema, key);
    return { result, text: explanationText(result) };
  },
});

function foundText(found: readonly FoundKey[], text: string): string {
  if (found.length === 0) return `no key has "${text}"`;
  return found.map(({ path, about = '' }) => `${path}\n    ${about}`.trimEnd()).join('\n');
}

function explanationText(key: Explanation): string {
  const head = [
    keyTitle(key),
    ...(key.about === undefined ? [] : [`  ${key.about}`]),
    ...keyFacts(key).map(([label, text]) => `  ${label}: ${text}`),
  ];
  const parts = [head.join('\n')];
  if (key.kinds.length > 0) {
    const examples = key.kinds.map((kind) => `  sinew explain ${key.path}.${kind}`);
    parts.push(`${KINDS_TITLE}:\n${examples.join('\n')}`);
  }
  if (key.keys.length > 0) parts.push(key.keys.map(keyText).join('\n'));
  return parts.join('\n\n');
}

function keyText(key: KeyInfo): string {
  const { about, more } = keyLine(key);
  return `  ${key.name.padEnd(12)} ${about}${more && `\n               ${more}`}`;
}
