import { spawnSync } from 'node:child_process';
import { readFile, writeFile } from 'node:fs/promises';
import { cpus } from 'node:os';
import { fileURLToPath } from 'node:url';
import { boardRows } from './board.ts';
import { checkRow } from './check.ts';
import { commandRows } from './command.ts';
import { followersRow, latenessRows } from './lateness.ts';
import { memoryRow } from './memory.ts';
import { pageRows } from './page.ts';
import { lossRow, startRow } from './process.ts';
import { editedRow, rehearseRow } from './rehearse.ts';
import { safeRow } from './safe.ts';
import { lineOf, markdown, plain, type Row } from './table.ts';
import { allocationRows, tickRows } from './tick.ts';

/** All that is measured, by the word that chooses it. */
const PARTS: Record<string, () => Promise<Row[]>> = {
  command: commandRows,
  lateness: latenessRows,
  followers: async () => [await followersRow()],
  tick: tickRows,
  allocation: allocationRows,
  rehearse: async () => [await rehearseRow(), await editedRow()],
  check: async () => [await checkRow()],
  memory: async () => [await memoryRow()],
  start: async () => [await startRow()],
  loss: async () => [await lossRow()],
  safe: async () => [await safeRow()],
  page: pageRows,
  board: boardRows,
};
const README = fileURLToPath(new URL('../../README.md', import.meta.url));
/** Between these the README keeps the last run's table. */
const MARKS = ['<!-- bench -->\n', '<!-- /bench -->'] as const;

const keep = process.argv.includes('--keep');
const wanted = process.argv.slice(2).filter((word) => !word.startsWith('--'));
const unknown = wanted.find((word) => !Object.hasOwn(PARTS, word));
if (unknown !== undefined)
  throw new Error(`there is no part ${unknown}; use ${Object.keys(PARTS).join(', ')}`);

/** One part, for the process that asked for it. */
if (process.argv.includes('--rows')) {
  const text = JSON.stringify(await PARTS[wanted[0]!]!());
  process.stdout.write(text, () => process.exit());
  await new Promise(() => {});
}

const machine = `${cpus()[0]?.model.trim()} x ${cpus().length}, Node ${process.version}`;
console.log(`${machine}\n`);
const rows: Row[] = [];
for (const name of Object.keys(PARTS))
  if (wanted.length === 0 || wanted.includes(name)) rows.push(...partRows(name));
const lines = rows.map(lineOf);
console.log(plain(lines));
if (keep) await keepInReadme();
if (lines.some(({ met }) => !met)) process.exitCode = 1;

async function keepInReadme(): Promise<void> {
  const text = await readFile(README, 'utf8');
  const [begin, end] = [text.indexOf(MARKS[0]), text.indexOf(MARKS[1])];
  if (begin < 0 || end < begin) throw new Error('the README has no place for the table');
  const date = new Date().toISOString().slice(0, 10);
  const table = `Measured on ${date}, ${machine}, by \`npm run bench -- --keep\`.\n\n${markdown(lines)}\n`;
  await writeFile(README, text.slice(0, begin + MARKS[0].length) + table + text.slice(end));
}

/** Each part runs in a process of its own: what one has compiled is not for the next. */
function partRows(name: string): Row[] {
  const program = fileURLToPath(import.meta.url);
  const args = [...process.execArgv, program, name, '--rows'];
  const { status, stdout } = spawnSync(process.execPath, args, {
    encoding: 'utf8',
    stdio: ['ignore', 'pipe', 'inherit'],
    maxBuffer: 1e8,
  });
  if (status !== 0) throw new Error(`the part ${name} ended with ${status}`);
  return JSON.parse(stdout);
}
