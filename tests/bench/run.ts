import { cpus } from 'node:os';
import { pageRows } from './page.ts';
import { lossRow, startRow } from './process.ts';
import { rehearseRow } from './rehearse.ts';
import { safeRow } from './safe.ts';
import { print } from './table.ts';
import { tickRow } from './tick.ts';

console.log(`${cpus()[0]?.model.trim()} x ${cpus().length}, Node ${process.version}\n`);
const rows = [
  await tickRow(16),
  await tickRow(64),
  await rehearseRow(),
  await startRow(),
  await lossRow(),
  await safeRow(),
  ...(await pageRows()),
];
if (!print(rows)) process.exitCode = 1;
