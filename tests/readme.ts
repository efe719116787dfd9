import { readFileSync } from 'node:fs';

/** What the README shows, for the tests that do it. */

const README = readFileSync(new URL('../README.md', import.meta.url), 'utf8');

/** A program in a language, as it stands there. */
export function programIn(language: string): string {
  const [, text] = new RegExp(`\`\`\`${language}\\n([\\s\\S]*?)\`\`\``).exec(README) ?? [];
  if (text === undefined) throw new Error(`the README has no program in ${language}`);
  return text;
}

/** The first session: the command, the answer to its question, the lines typed, and all that is shown. */
export function firstSession(): {
  command: string;
  answer: string;
  lines: string[];
  shown: string[];
} {
  const section = README.slice(README.indexOf('## Five minutes with the owl'));
  const [first, ...shown] = /```console\n([\s\S]*?)```/.exec(section)![1]!.trim().split('\n');
  const answer = /Wake\? \[y\/N\] (.+)$/.exec(shown[0]!)?.[1];
  const lines = shown.flatMap((line) => /^live> (.+)$/.exec(line)?.[1] ?? []);
  if (!first!.startsWith('$ ') || !answer || lines.length < 2)
    throw new Error(`the README's session has another form now:\n${[first, ...shown].join('\n')}`);
  return { command: first!.slice(2), answer, lines, shown };
}
