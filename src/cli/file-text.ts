import type { FileFinding, FileNews } from '../api/types.ts';

/** What a person at a terminal reads about the prop file. */

/** `12:5: channels.beak.speedDegS: must be above 0; give a speed`. */
export function findingLine({ level, line, column, path, message }: FileFinding): string {
  const prefix = level === 'error' ? '' : `${level}: `;
  return `${line}:${column}: ${path}: ${prefix}${message}`;
}

/** The news of the file in one line. */
export function changeLine({ changed, pending, problem, findings = [] }: FileNews): string {
  const list = changed.join('; ');
  if (problem !== undefined) {
    const [first, ...others] = findings;
    const more = others.length > 0 ? ` (and ${others.length} more)` : '';
    const where = first ? ` (${findingLine(first)})${more}` : '';
    return `the prop file on the disk is not in use: ${problem}${where}`;
  }
  if (pending) return `a change of the prop file waits until the prop is parked: ${list}`;
  return list ? `the prop file has changed: ${list}` : 'the prop file is in use';
}

/** The same with everything that is known, one line each. */
export function fileLines({ changed, pending, problem, findings = [] }: FileNews): string[] {
  const items = (list: readonly string[]) => list.map((one) => `  ${one}`);
  if (problem !== undefined) {
    const would = changed.length > 0 ? ['it would change:', ...items(changed)] : [];
    return [
      `prop file: not in use: ${problem}`,
      ...items(findings.map(findingLine)),
      ...would,
      'the prop keeps the version before',
    ];
  }
  if (!pending) return [];
  return ['prop file: a change waits until the prop is parked:', ...items(changed)];
}
