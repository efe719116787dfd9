import type { Prop } from '../prop/schema.ts';
import type { Desk } from './desk.ts';
import { EXIT, print, UsageError, writeOut } from './output.ts';
import { type Outcome, verb } from './verb.ts';

const FORMATS = ['text', 'csv', 'html', 'svg'] as const;

interface Given {
  file: string;
  format?: (typeof FORMATS)[number];
  out?: string;
}

export const loomVerb = verb<Given>({
  name: 'loom',
  summary: 'list and draw the wiring: by connector, channel and label; wire flags; pins',
  where: 'line',
  args: [{ name: 'file', doc: 'a prop file' }],
  options: [
    {
      flags: '--format <F>',
      doc: 'text (default); csv: a row for each core; html: lists and wire flags to print; svg: a drawing',
      choices: FORMATS,
    },
    { flags: '--out <FILE>', doc: 'write it to this file instead' },
  ],
  run: loom,
});

async function loom({ file, format, out }: Given, desk: Desk): Promise<Outcome> {
  const { json } = desk.options;
  if (json && format !== undefined)
    throw new UsageError('--json is a form by itself; leave out --format');
  // Loaded only here: `stop` must not wait for a YAML parser.
  const { formatFinding, loadProp } = await import('../prop/load.ts');
  const { prop, findings } = await loadProp(file);
  if (!prop) {
    const told = findings.map((finding) => formatFinding(finding, file));
    // Instead of data, what is to be said goes where nobody takes it for data.
    const beside = !json && (out !== undefined || (format ?? 'text') !== 'text');
    if (beside) for (const line of told) print(desk.io.stderr, line);
    const text = beside ? '' : told.join('\n');
    return { result: { file, findings }, text, exit: EXIT.refused };
  }
  const { loomOf } = await import('./loom-data.ts');
  const result = { file, ...loomOf(prop) };
  const text = json ? JSON.stringify(result) : await inForm(prop, format ?? 'text');
  if (out === undefined) return { result, text };
  await writeOut(out, `${text}\n`);
  return { result: { file, written: out }, text: `written to ${out}` };
}

async function inForm(prop: Prop, format: (typeof FORMATS)[number]): Promise<string> {
  switch (format) {
    case 'text':
      return (await import('./loom-text.ts')).loomText(prop);
    case 'csv':
      // RFC 4180: CR LF ends every line; the LF of the last one comes with the printing.
      return `${(await import('./loom-csv.ts')).loomCsv(prop)}\r`;
    case 'html':
      return (await import('./loom-html.ts')).loomHtml(prop);
    case 'svg':
      return (await import('./loom-svg.ts')).loomSvg(prop);
  }
}
