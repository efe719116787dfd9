import { readFileSync, writeFileSync } from 'node:fs';
import { withRefusalTable } from './refusal-table.ts';

const file = new URL('../../DEVELOPERS.md', import.meta.url);
writeFileSync(file, withRefusalTable(readFileSync(file, 'utf8')));
