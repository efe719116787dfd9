// Parses a YAML file once, by the parser that the daemon uses, and prints how long that took (ms).
import { readFileSync } from 'node:fs';
import { parseDocument } from 'yaml';

const text = readFileSync(process.argv[2], 'utf8');
const startMs = performance.now();
parseDocument(text).toJS();
process.stdout.write(String(performance.now() - startMs));
