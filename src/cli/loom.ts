import type { Prop } from '../prop/schema.ts';
import { UsageError } from './output.ts';
import { readProp, writtenTo } from './prop-file.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

const FORMATS = ['text', 'csv', 'html', 'svg'] as const;

interface Inputs {
  file: string;
  format?: (typeof FORMATS)[number];
  out?: string;
  shopping?: true;
}

export const loomVerb = verb<Inputs>({
  name: 'loom',
  summary: 'list and draw the wiring: by connector, channel and label; wire flags; pins',
  where: 'both',
  args: [{ name: 'file', doc: 'a prop file' }],
  options: [
    {
      flags: '--format <F>',
      doc: 'text (default); csv: a row for each core; html: lists and wire flags to print; svg: a drawing',
      choices: FORMATS,
    },
    {
      flags: '--shopping',
      doc: 'what to buy instead: parts and metres of wire, as text or csv',
    },
    { flags: '--out <FILE>', doc: 'write it to this file instead' },
  ],
  run: loom,
});

async function loom({ file, format, out, shopping }: Inputs, operator: Operator): Promise<Outcome> {
  const { json } = operator.options;
  if (json && format !== undefined)
    throw new UsageError('--json is a form by itself; leave out --format');
  if (shopping && format !== undefined && format !== 'text' && format !== 'csv')
    throw new UsageError(`a shopping list has no form ${format}; use text or csv`);
  // Messages go where nobody takes them for data.
  const beside = !json && (out !== undefined || (format ?? 'text') !== 'text');
  const read = await readProp(file, operator, beside);
  if ('refused' in read) return read.refused;
  const { prop } = read;
  if (shopping) {
    const { shoppingCsv, shoppingList } = await import('../proposal/shopping.ts');
    const { shoppingText } = await import('./shopping-text.ts');
    const items = shoppingList(prop);
    const list = format === 'csv' ? `${shoppingCsv(items)}\r` : shoppingText(items);
    const result = { file, items };
    return writtenTo(out, { result, text: list }, operator);
  }
  const { loomOf } = await import('./loom-data.ts');
  const result = { file, ...loomOf(prop) };
  const text = json ? '' : await inForm(prop, format ?? 'text');
  return writtenTo(out, { result, text }, operator);
}

async function inForm(prop: Prop, format: (typeof FORMATS)[number]): Promise<string> {
  switch (format) {
    case 'text':
      return (await import('./loom-text.ts')).loomText(prop);
    case 'csv':
      // RFC 4180: CR LF ends every line; the LF of the last one comes with the printing.
      return `${(await import('./loom-csv.ts')).loomCsv(prop)}\r`;
    case 'html':
      return (await import('./loom-drawn.tsx')).loomHtml(prop);
    case 'svg':
      return (await import('./loom-drawn.tsx')).loomSvg(prop);
  }
}
