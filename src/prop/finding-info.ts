import { type Finding, WHOLE_FILE } from './finding.ts';

/** A finding in the terms of the API. */
export interface FindingInfo {
  /** Stable, a dotted word: the kind of rule, then the part of the file. */
  code: string;
  level: Finding['severity'];
  line: number;
  column: number;
  path: string;
  message: string;
}

/** Findings as the API tells them. */
export function findingInfos(findings: readonly Finding[]): FindingInfo[] {
  return findings.map((finding) => {
    const { severity, line, column, path, wrong, right } = finding;
    return {
      code: codeOf(finding),
      level: severity,
      line,
      column,
      path,
      message: `${wrong}; ${right}`,
    };
  });
}

/** The kinds of findings that many parts of the file share. */
const CODES: [wrong: RegExp, code: string][] = [
  [/^unknown key/, 'schema.unknown-key'],
  [/^missing$/, 'schema.missing'],
  [/^nothing is given/, 'schema.empty'],
  [/given twice/, 'yaml.duplicate-key'],
  [/merge key/, 'yaml.merge-key'],
  [/alias/, 'yaml.alias'],
  [/larger than/, 'file.too-large'],
  [/not UTF-8|byte order mark|control character/, 'file.encoding'],
  [/no such file|cannot be read|no permission|a folder/, 'file.unreadable'],
  [/^the file is empty/, 'file.empty'],
];

function codeOf({ wrong, path }: Finding): string {
  for (const [pattern, code] of CODES) if (pattern.test(wrong)) return code;
  if (path === WHOLE_FILE) return 'yaml.syntax';
  return `prop.${/^[a-zA-Z]+/.exec(path)?.[0] ?? 'file'}`;
}
