import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { TestModule, TestProject } from 'vitest/node';
import { LONG, ROWS_VARIABLE, type Row } from './report.ts';

const REPORT = fileURLToPath(new URL('../../faults-report.md', import.meta.url));
/** The whole suite, its long half included, ends within this (min). */
const BOUND_MIN = 20;

const HEAD = ['fault', 'promise', 'measured worst', 'verdict'];

/** The rows as a Markdown table whose columns are aligned, so that it reads well in a terminal, too. */
function table(rows: readonly Row[]): string {
  const lines = [
    HEAD,
    ...rows.map(({ fault, promise, worst, holds }) => [
      fault,
      promise,
      worst,
      holds ? 'holds' : 'BROKEN',
    ]),
  ].map((cells) => cells.map((cell) => cell.replaceAll('|', '\\|').replace(/\s+/g, ' ')));
  const widths = HEAD.map((_, at) => Math.max(...lines.map((cells) => cells[at]!.length)));
  const [head, ...body] = lines.map(
    (cells) => `| ${cells.map((cell, at) => cell.padEnd(widths[at]!)).join(' | ')} |`,
  );
  return [head, `| ${widths.map((width) => '-'.repeat(width)).join(' | ')} |`, ...body].join('\n');
}

/** What failed in a test file, a line each. */
function failuresOf(module: TestModule): string[] {
  const line = (name: string, message = '') =>
    `- ${module.relativeModuleId}${name}: ${message.split('\n')[0]}`;
  return [
    ...module.errors().map(({ message }) => line('', message)),
    ...Array.from(module.children.allTests('failed'), (one) =>
      line(` > ${one.fullName}`, one.result().errors?.[0]?.message),
    ),
  ];
}

/** Vitest's global setup: collects the rows that the tests tell; at the end prints and keeps them as one table. */
export default function setup({ vitest }: TestProject): () => void {
  const folder = mkdtempSync(join(tmpdir(), 'sinew-faults-'));
  const file = join(folder, 'rows');
  writeFileSync(file, '');
  process.env[ROWS_VARIABLE] = file;
  const startMs = performance.now();

  function report(note = ''): void {
    const rows = readFileSync(file, 'utf8').trim().split('\n').filter(Boolean);
    if (rows.length === 0) return;
    const seconds = Math.round((performance.now() - startMs) / 1000);
    const half = LONG ? 'long half' : 'quick half';
    const text = [
      `# Faults (${half}, ${new Date().toISOString()}, within ${seconds} s)${note}`,
      table(rows.map((row) => JSON.parse(row))),
    ].join('\n\n');
    writeFileSync(REPORT, `${text}\n`);
    console.log(`\n${text}\n\nkept in ${REPORT}`);
  }

  const bound = setTimeout(() => {
    report(`: cut off after ${BOUND_MIN} min`);
    process.exit(1);
  }, BOUND_MIN * 60_000);
  bound.unref();
  return () => {
    clearTimeout(bound);
    report();
    // The table is long: whoever sees the end of the output alone sees what failed.
    const failed = vitest.state.getTestModules().filter((module) => !module.ok());
    if (failed.length > 0)
      console.log(`\nfailed, more above:\n${failed.flatMap(failuresOf).join('\n')}`);
    rmSync(folder, { recursive: true });
  };
}
